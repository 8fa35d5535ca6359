package rest

import (
	"bytes"
	"fmt"
	"net/http"
	"strings"
	"text/tabwriter"

	"google.golang.org/protobuf/encoding/protojson"

	pb "proofload/api/proofload/v1"
)

// table answers the torque table as JSON, or as text to a terminal that asks for it.
func (h *Handler) table(gateway http.Handler) http.Handler {
	return h.orText(gateway, func(body []byte) ([]byte, error) {
		var t pb.ListVehicleFastenersResponse
		err := protojson.Unmarshal(body, &t)
		return text(&t), err
	})
}

// textual are the methods whose answers are text too, for those who ask for it.
var textual = []string{"ListVehicleFasteners", "GetCheckpoint", "GetVerifierKey"}

// orText answers as the gateway does, or with the text of its answer where that is
// wanted more.
func (h *Handler) orText(gateway http.Handler, text func(body []byte) ([]byte, error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asText, asJSON := accepts(r, "text/plain"), accepts(r, "application/json")
		switch {
		case asText == 0 && asJSON == 0:
			fail(w, r, notAcceptable("application/json", "text/plain"))
			return
		case asText <= asJSON:
			gateway.ServeHTTP(w, r)
			return
		}
		kept := &keptAnswer{ResponseWriter: w}
		gateway.ServeHTTP(kept, r)
		if kept.status != http.StatusOK {
			return
		}
		body, err := text(kept.body.Bytes())
		if err != nil {
			h.fail(w, r, err)
			return
		}
		sendText(w, r, textType, body)
	})
}

// keptAnswer holds a good answer back and lets an error through.
type keptAnswer struct {
	http.ResponseWriter
	status int
	body   bytes.Buffer
}

// WriteHeader implements http.ResponseWriter.
func (k *keptAnswer) WriteHeader(status int) {
	k.status = status
	if status != http.StatusOK {
		k.ResponseWriter.WriteHeader(status)
	}
}

// Write implements http.ResponseWriter.
func (k *keptAnswer) Write(b []byte) (int, error) {
	if k.status == 0 {
		k.status = http.StatusOK
	}
	if k.status != http.StatusOK {
		return k.ResponseWriter.Write(b)
	}
	return k.body.Write(b)
}

// text lays a torque table out for a terminal.
func text(t *pb.ListVehicleFastenersResponse) []byte {
	var b bytes.Buffer
	if len(t.Fasteners) > 0 {
		if n := t.Fasteners[0].Notice; n.GetDemo() {
			fmt.Fprintf(&b, "%s\n\n", n.DemoText)
		}
	}
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "PLACE\tFASTENER\tTIGHTEN\tSTATE\tREUSE\tTOOL\tFOR")
	for _, f := range t.Fasteners {
		title := f.Title
		if f.Count > 1 {
			title += fmt.Sprintf(" (%d)", f.Count)
		}
		var applies []string
		for _, a := range f.AppliesTo {
			applies = append(applies, strings.TrimPrefix(strings.TrimPrefix(a.Text, a.VehicleTitle), ", "))
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", f.Place, title, f.Summary, f.GetTightening().GetState(), f.GetReuse().GetRule(),
			f.GetTools().GetSocket(), strings.Join(applies, "; or "))
	}
	w.Flush()
	for _, q := range t.Undecided {
		fmt.Fprintf(&b, "\nundecided: %s (%s)", q.Text, q.Key)
	}
	if len(t.Undecided) > 0 {
		b.WriteString("\n")
	}
	if t.NextPageToken != "" {
		fmt.Fprintf(&b, "\nmore: page_token=%s\n", t.NextPageToken)
	}
	if len(t.Fasteners) > 0 {
		fmt.Fprintf(&b, "\n%s\n", t.Fasteners[0].GetNotice().GetCaution())
	}
	// Trailing spaces of the last column help nobody.
	lines := strings.Split(b.String(), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return []byte(strings.Join(lines, "\n"))
}
