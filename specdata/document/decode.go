package document

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"

	"proofload/specdata"
)

// Decode reads a canonical document that was judged when it was published, without
// judging it again. Members that records of today do not have are passed over. The
// error says that it is not JSON, or not of the kind.
func Decode(kind specdata.Kind, canonical []byte) (specdata.Record, error) {
	rec := specdata.New(kind)
	if rec == nil {
		return nil, fmt.Errorf("kind %q does not exist", kind)
	}
	if byPlan(rec, canonical) {
		return rec, nil
	}
	rec = specdata.New(kind)
	return rec, json.Unmarshal(canonical, rec)
}

// decode turns the canonical form of a valid document into its record.
func decode(kind specdata.Kind, canonical []byte) (specdata.Record, error) {
	rec := specdata.New(kind)
	if byPlan(rec, canonical) {
		return rec, nil
	}
	// What the plan does not know, encoding/json decides.
	rec = specdata.New(kind)
	dec := json.NewDecoder(bytes.NewReader(canonical))
	dec.DisallowUnknownFields()
	if err := dec.Decode(rec); err != nil {
		return nil, err
	}
	return rec, nil
}

// byPlan fills a record, wholly or not well: ok is false for a document that is not
// as the plan expects.
func byPlan(rec specdata.Record, canonical []byte) (ok bool) {
	d := decoder{text: string(canonical)}
	end, err := planOf(reflect.TypeOf(rec).Elem()).read(&d, 0, reflect.ValueOf(rec).Elem())
	return err == nil && end == len(canonical)
}

// decoder reads canonical JSON that is known to be well formed. Its strings are
// parts of one copy of the document. It costs a fifth of encoding/json, which reads
// everything twice and looks every key up.
type decoder struct{ text string }

// errPlan is any surprise; the caller then takes the slow way, which words the error.
var errPlan = errors.New("document is not of the form the plan is for")

// plan is how a struct is read: its fields in the order of canonical keys.
type plan struct{ fields []field }

type field struct {
	key  string // with quotes and colon
	path []int
	read readFunc
}

// readFunc reads the value at an offset into a place and returns where it ends.
type readFunc func(d *decoder, i int, into reflect.Value) (end int, err error)

var (
	plans        sync.Map // reflect.Type to *plan
	quantityType = reflect.TypeFor[specdata.Quantity]()
	optionsType  = reflect.TypeFor[map[string][]string]()
)

func planOf(t reflect.Type) *plan {
	if p, ok := plans.Load(t); ok {
		return p.(*plan)
	}
	p := &plan{}
	for _, f := range fieldsOf(t) {
		p.fields = append(p.fields, field{`"` + keyOf(f) + `":`, f.Index, readerOf(f.Type)})
	}
	slices.SortFunc(p.fields, func(a, b field) int { return compareKeys(a.key[1:len(a.key)-2], b.key[1:len(b.key)-2]) })
	got, _ := plans.LoadOrStore(t, p)
	return got.(*plan)
}

func readerOf(t reflect.Type) readFunc {
	switch {
	case t == quantityType:
		return readQuantity
	case t == optionsType:
		return readOptions
	}
	switch t.Kind() {
	case reflect.String:
		return readString
	case reflect.Bool:
		return readBool
	case reflect.Int:
		return readInt
	case reflect.Struct:
		return planOf(t).read
	case reflect.Pointer:
		elem := readerOf(t.Elem())
		return func(d *decoder, i int, into reflect.Value) (int, error) {
			p := reflect.New(t.Elem())
			into.Set(p)
			return elem(d, i, p.Elem())
		}
	case reflect.Slice:
		elem := readerOf(t.Elem())
		return func(d *decoder, i int, into reflect.Value) (int, error) { return d.list(i, into, elem) }
	}
	return func(*decoder, int, reflect.Value) (int, error) { return 0, errPlan }
}

// read fills a struct. Keys come in the order of the fields, so one walk finds all.
func (p *plan) read(d *decoder, i int, into reflect.Value) (int, error) {
	if !d.is(i, '{') {
		return i, errPlan
	}
	if i++; d.is(i, '}') {
		return i + 1, nil
	}
	next := 0
	for {
		for next < len(p.fields) && !strings.HasPrefix(d.text[i:], p.fields[next].key) {
			next++
		}
		if next == len(p.fields) {
			return i, errPlan
		}
		f := &p.fields[next]
		v := into
		for _, n := range f.path {
			v = v.Field(n)
		}
		var err error
		if i, err = f.read(d, i+len(f.key), v); err != nil {
			return i, err
		}
		if next++; d.is(i, '}') {
			return i + 1, nil
		}
		if !d.is(i, ',') {
			return i, errPlan
		}
		i++
	}
}

func (d *decoder) list(i int, into reflect.Value, elem readFunc) (int, error) {
	if !d.is(i, '[') {
		return i, errPlan
	}
	into.Grow(2)
	into.SetLen(0)
	if i++; d.is(i, ']') {
		return i + 1, nil
	}
	for n := 0; ; n++ {
		if n == into.Cap() {
			into.Grow(n)
		}
		into.SetLen(n + 1)
		var err error
		if i, err = elem(d, i, into.Index(n)); err != nil {
			return i, err
		}
		if d.is(i, ']') {
			return i + 1, nil
		}
		if !d.is(i, ',') {
			return i, errPlan
		}
		i++
	}
}

func (d *decoder) is(i int, c byte) bool { return i < len(d.text) && d.text[i] == c }

// str reads a string and returns where it ends.
func (d *decoder) str(i int) (s string, end int, err error) {
	if !d.is(i, '"') {
		return "", i, errPlan
	}
	i++
	n := strings.IndexByte(d.text[i:], '"')
	if n < 0 {
		return "", i, errPlan
	}
	if strings.IndexByte(d.text[i:i+n], '\\') < 0 {
		return d.text[i : i+n], i + n + 1, nil
	}
	for end = i; end < len(d.text) && d.text[end] != '"'; end++ {
		if d.text[end] == '\\' {
			end++
		}
	}
	if end >= len(d.text) {
		return "", i, errPlan
	}
	err = json.Unmarshal([]byte(d.text[i-1:end+1]), &s)
	return s, end + 1, err
}

func readString(d *decoder, i int, into reflect.Value) (int, error) {
	s, end, err := d.str(i)
	into.SetString(s)
	return end, err
}

func readQuantity(d *decoder, i int, into reflect.Value) (int, error) {
	s, end, err := d.str(i)
	if err != nil {
		return end, err
	}
	q, err := specdata.ParseQuantity(s)
	*into.Addr().Interface().(*specdata.Quantity) = q
	return end, err
}

func readBool(d *decoder, i int, into reflect.Value) (int, error) {
	if strings.HasPrefix(d.text[i:], "true") {
		into.SetBool(true)
		return i + len("true"), nil
	}
	return i, errPlan
}

func readInt(d *decoder, i int, into reflect.Value) (int, error) {
	end := i
	for end < len(d.text) && (d.text[end] >= '0' && d.text[end] <= '9' || d.text[end] == '-') {
		end++
	}
	n, err := strconv.Atoi(d.text[i:end])
	into.SetInt(int64(n))
	return end, err
}

// readOptions reads an object of lists of words.
func readOptions(d *decoder, i int, into reflect.Value) (int, error) {
	if !d.is(i, '{') {
		return i, errPlan
	}
	options := map[string][]string{}
	into.Set(reflect.ValueOf(options))
	if i++; d.is(i, '}') {
		return i + 1, nil
	}
	for {
		key, end, err := d.str(i)
		if err != nil || !d.is(end, ':') {
			return end, errPlan
		}
		var words []string
		if i, err = d.list(end+1, reflect.ValueOf(&words).Elem(), readString); err != nil {
			return i, err
		}
		options[key] = words
		if d.is(i, '}') {
			return i + 1, nil
		}
		if !d.is(i, ',') {
			return i, errPlan
		}
		i++
	}
}
