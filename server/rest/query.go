package rest

import (
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"

	"proofload/server/ask"
	"proofload/server/fault"
)

// param is a field that the query of an address may have.
type param struct {
	kind protoreflect.Kind
	// repeats says that it may be given several times.
	repeats bool
}

// params are the fields that the query of an address may have, by name.
type params map[string]param

var (
	textParam  = param{kind: protoreflect.StringKind}
	textsParam = param{kind: protoreflect.StringKind, repeats: true}
	wholeParam = param{kind: protoreflect.Int64Kind}
	boolParam  = param{kind: protoreflect.BoolKind}
)

// readQuery is what the query of a record read may have.
var readQuery = params{"at": textParam, "min_position": wholeParam}

// query is a query that was read.
type query struct{ url.Values }

// queryOf reads a query strictly: only fields the address takes, each once unless
// it repeats, and of its type.
func queryOf(r *http.Request, allowed params) (query, error) {
	q, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return query{}, fault.New(fault.RequestMalformed, "query of the address cannot be read; encode it as RFC 3986 says, with %% before two hexadecimal digits, and & between fields").Because(err)
	}
	for _, key := range slices.Sorted(maps.Keys(q)) {
		p, ok := allowed[key]
		switch {
		case !ok:
			return query{}, fault.Field(ask.Clip(key), "field %q is not one this address takes; allowed: %s", ask.Clip(key), allowed)
		case len(q[key]) > 1 && !p.repeats:
			return query{}, fault.Field(key, "field %s is given %d times; give it once", key, len(q[key]))
		case !validText(q[key]):
			return query{}, fault.Field(key, "field %s is not UTF-8 text", key)
		}
		for _, text := range q[key] {
			if err := p.check(key, text); err != nil {
				return query{}, err
			}
		}
	}
	return query{q}, nil
}

// check returns what is wrong with a value, or nil.
func (p param) check(key, text string) (err error) {
	switch p.kind {
	case protoreflect.BoolKind:
		_, err = ask.Bool(key, text)
	case protoreflect.Int32Kind:
		_, err = ask.Whole(key, text, 32)
	case protoreflect.Int64Kind:
		_, err = ask.Whole(key, text, 64)
	case protoreflect.DoubleKind:
		_, err = ask.Number(key, text)
	}
	return err
}

// String returns the names of the fields in order, "none" where there are none.
func (p params) String() string {
	if len(p) == 0 {
		return "none"
	}
	return strings.Join(slices.Sorted(maps.Keys(p)), ", ")
}

// whole returns a whole number that queryOf has checked, 0 where it is absent.
func (q query) whole(key string) int64 {
	n, _ := ask.Whole(key, q.Get(key), 64)
	return n
}

// flag returns a boolean that queryOf has checked, false where it is absent.
func (q query) flag(key string) bool {
	b, _ := ask.Bool(key, q.Get(key))
	return b
}

// when returns the moment that at and min_position name.
func (q query) when() (ask.Moment, error) {
	return ask.When("at", q.Get("at"), q.whole("min_position"))
}

func validText(values []string) bool {
	for _, v := range values {
		if !utf8.ValidString(v) || strings.ContainsRune(v, 0) {
			return false
		}
	}
	return true
}
