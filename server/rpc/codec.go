package rpc

import (
	"google.golang.org/grpc/encoding"
	protocodec "google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	"proofload/server/fault"
)

// encoded is an answer that is protobuf already. Its bytes are shared: they go
// to the connection as they are and nobody changes them.
type encoded []byte

// codec is the standard one, which lets encoded answers through untouched: making
// and marshalling the message per call costs a fifth of the throughput.
type codec struct{}

var standard = encoding.GetCodecV2(protocodec.Name)

// Name implements encoding.CodecV2.
func (codec) Name() string { return protocodec.Name }

// Marshal implements encoding.CodecV2.
func (codec) Marshal(v any) (mem.BufferSlice, error) {
	if b, ok := v.(encoded); ok {
		return mem.BufferSlice{mem.SliceBuffer(b)}, nil
	}
	return standard.Marshal(v)
}

// Unmarshal implements encoding.CodecV2.
func (codec) Unmarshal(data mem.BufferSlice, v any) error {
	if in, ok := v.(receiver); ok {
		in.receive(data)
		return nil
	}
	return standard.Unmarshal(data, v)
}

// receiver takes the bytes of a request and keeps what is wrong with them. Were the
// error returned by the codec, the library would answer INTERNAL by itself, as if
// the server were to blame.
type receiver interface {
	receive(data mem.BufferSlice)
}

// incoming receives a message.
type incoming struct {
	message any
	err     error
}

func (in *incoming) receive(data mem.BufferSlice) { in.err = standard.Unmarshal(data, in.message) }

// receive decodes a request; bytes that are no message are the caller's fault.
func receive(decode func(any) error, message any) error {
	in := incoming{message: message}
	if err := decode(&in); err != nil {
		return err
	}
	return malformed(in.err)
}

func malformed(err error) error {
	if err == nil {
		return nil
	}
	return fault.New(fault.RequestMalformed, "request is not the message this method takes").Because(err)
}

// incomingName receives the request of a record read. Nearly every one has the name
// and nothing else, which is told from its bytes without making a message.
type incomingName struct {
	// name is field 1 of a request that has no other; raw is any other request.
	name string
	raw  []byte
}

func (in *incomingName) receive(data mem.BufferSlice) {
	if len(data) == 1 {
		b := data[0].ReadOnlyData()
		if len(b) > 2 && b[0] == 1<<3|2 && b[1] < 0x80 && int(b[1]) == len(b)-2 {
			in.name = string(b[2:])
			return
		}
	}
	in.raw = data.Materialize()
}

// into makes the message of the request.
func (in *incomingName) into(m proto.Message) error {
	raw := in.raw
	if in.name != "" {
		raw = append([]byte{1<<3 | 2, byte(len(in.name))}, in.name...)
	}
	return malformed(proto.Unmarshal(raw, m))
}
