package job

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/whom"
)

// Where the store keeps jobs: a head each, which decides between two writers; the
// events; apart, the texts that can be erased; and which job a request opened.
const (
	spaceHeads    = "jobs"
	spaceEvents   = "jobevents"
	spaceApart    = "jobapart"
	spaceRequests = "jobrequests"
)

// The limits of a job.
const (
	MaxEvents = 5000
	MaxBatch  = 200
	maxText   = 2000
	maxWord   = 100
)

// Jobs keeps the jobs of one store. All methods may be called from many goroutines.
type Jobs struct {
	catalog *catalog.Catalog
	now     func() time.Time
}

// New returns the jobs of a catalog's store.
func New(c *catalog.Catalog, now func() time.Time) *Jobs { return &Jobs{c, now} }

// head is the note that every event of a job moves on.
type head struct {
	Procedure string   `json:"procedure"`
	Vehicle   string   `json:"vehicle"`
	Position  int64    `json:"position"`
	Stands    string   `json:"stands"`
	Events    int64    `json:"events"`
	Fasteners []string `json:"fasteners,omitempty"`
}

// idForm is the form of an id: when the job was opened (UTC), and a chance.
var idForm = regexp.MustCompile(`^[0-9]{8}-[0-9]{6}-[a-z2-7]{6}$`)

func newID(now time.Time) string {
	var b [4]byte
	rand.Read(b[:])
	return now.UTC().Format("20060102-150405-") + strings.ToLower(letters.EncodeToString(b[:]))[:6]
}

func notFound(id string) error {
	return fault.New(fault.JobNotFound, "job %q does not exist", specdata.Shorten(id)).With("job", specdata.Shorten(id))
}

// Opening says what job is opened, and by whom.
type Opening struct {
	Procedure, Vehicle          string
	Options                     []string
	Built, Side                 string
	Moment                      ask.Moment
	Plate, VIN, Odometer, Order string
	By, Request                 string
}

// Open opens a job. The procedure has to be for this very vehicle: what decides and is
// not said is asked for, as InvalidArgument, and nothing is written. The same request id
// of the same person opens one job.
func (j *Jobs) Open(ctx context.Context, o Opening) (*State, error) {
	name, err := ask.Name("procedure", o.Procedure, specdata.KindProcedure)
	if err != nil {
		return nil, err
	}
	if err := checkTexts(map[string]string{"plate": o.Plate, "vin": o.VIN, "odometer": o.Odometer, "order": o.Order, "request_id": o.Request}, maxWord); err != nil {
		return nil, err
	}
	_, position, err := j.catalog.Record(ctx, name, o.Moment)
	if err != nil {
		return nil, err
	}
	l := j.catalog.Follower.At(ctx, position)
	p := l.Get(name).Record.(*specdata.Procedure)
	start := &Start{Procedure: string(name), Position: position, Built: o.Built, Order: o.Order}
	o.Side = strings.ToLower(strings.TrimSpace(o.Side))
	switch {
	case p.Sides == "one" && o.Side != "left" && o.Side != "right":
		return nil, fault.Field("side", "%s is done on one side at a time; give side left or right, seen from the driver's seat", p.Title)
	case p.Sides != "one" && o.Side != "":
		return nil, fault.Field("side", "%s is not done on a chosen side; leave side out", p.Title)
	}
	start.Side = o.Side
	v, err := decide(l, p, o)
	if err != nil {
		return nil, err
	}
	if err := l.Err(); err != nil {
		return nil, err
	}
	start.Vehicle = v.Vehicle
	for _, x := range v.Options {
		start.Options = append(start.Options, x.Key+"="+x.Value)
	}
	for _, x := range o.Options { // what was said of the vehicle is kept, even where no step asks
		if !slices.Contains(start.Options, x) {
			start.Options = append(start.Options, x)
		}
	}
	slices.Sort(start.Options)
	now := j.now()
	id := newID(now)
	if opened, err := j.opened(ctx, o); opened != nil || err != nil {
		return opened, err
	}
	e := &Event{Number: 1, Job: id, Request: o.Request, Kind: Opened, Time: now, Open: start}
	if e.Request == "" {
		e.Request = chance()
	}
	w := &writing{job: id, time: now}
	start.Plate, start.VIN, start.Odometer = w.seal("vehicle", o.Plate), w.seal("vehicle", o.VIN), w.seal("vehicle", o.Odometer)
	e.By = w.seal("people", o.By)
	e.Person = o.By
	s, err := fold(id, []*Event{e}, l)
	if err != nil {
		return nil, err
	}
	s.Plate, s.VIN, s.Odometer = o.Plate, o.VIN, o.Odometer
	if o.Request != "" {
		body, _ := json.Marshal(request{id}) // strings only
		w.notes = append(w.notes, store.NoteWrite{Space: spaceRequests, Key: requestKey(o), Body: body, Time: now})
	}
	if err := j.write(ctx, w, s, e, 0); err != nil {
		if errors.Is(err, store.ErrConflict) { // the same request, at the same time
			if opened, again := j.opened(ctx, o); opened != nil || again != nil {
				return opened, again
			}
		}
		return nil, err
	}
	return s, nil
}

// request is the note of a request that opened a job.
type request struct {
	Job string `json:"job"`
}

// requestKey is the key of the note of a person's request.
func requestKey(o Opening) string { return apart{Salt: o.By, Text: o.Request}.hash() }

// opened returns the job that the same request of the same person opened before, nil
// where none did.
func (j *Jobs) opened(ctx context.Context, o Opening) (*State, error) {
	if o.Request == "" {
		return nil, nil
	}
	n, err := j.catalog.Follower.Store.GetNote(ctx, spaceRequests, requestKey(o))
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, nil
	case err != nil:
		return nil, err
	}
	var r request
	if err := json.Unmarshal(n.Body, &r); err != nil {
		return nil, fmt.Errorf("note %s/%s: %w: %v", n.Space, n.Key, store.ErrCorrupt, err)
	}
	return j.Get(ctx, r.Job)
}

// decide holds a procedure against the vehicle: all that it depends on must be said.
func decide(l library.Library, p *specdata.Procedure, o Opening) (dryrun.Variant, error) {
	asked := whom.Asked{Vehicle: o.Vehicle, VIN: strings.ToUpper(o.VIN), Stated: whom.Stated{Options: o.Options, Built: o.Built}}
	if o.Vehicle != "" || specdata.CheckVIN(asked.VIN) != nil {
		asked.VIN = "" // it stands in the papers; the vehicle is named
	}
	v, err := whom.One(l, p, asked)
	if err == nil {
		err = whollySaid(l, p, v.Vehicle, asked.Stated)
	}
	var undecided *whom.Undecided
	var not *whom.NotFor
	var wrong *whom.Wrong
	switch {
	case errors.As(err, &undecided):
		key := "options"
		if len(undecided.Questions) > 0 && (undecided.Questions[0].Key == "built" || undecided.Questions[0].Key == "vehicle") {
			key = undecided.Questions[0].Key
		}
		return v, fault.Field(key, "%v", err)
	case errors.As(err, &not):
		return v, fault.Field("vehicle", "%v", err)
	case errors.As(err, &wrong):
		return v, fault.Field(wrong.Field, "%v", err)
	}
	return v, err
}

// whollySaid reports what a procedure depends on and nobody said.
func whollySaid(l library.Library, p *specdata.Procedure, id string, known whom.Stated) error {
	vehicle := library.Vehicle(l, id)
	if vehicle == nil {
		return nil
	}
	facts, err := known.Check(vehicle)
	if err != nil {
		return err
	}
	clauses := slices.Clone(p.AppliesTo)
	for i := range clauses {
		clauses[i].Side = ""
	}
	if st := facts.Record(clauses); st.May() && !st.Applies() {
		return &whom.Undecided{Record: p.Name(), For: whom.Of(l, p.AppliesTo).Variant(id, nil).Text(), Questions: facts.Ask(st.Open, p.AppliesTo)}
	}
	return nil
}

// Get returns a job. The error is JobNotFound where there is none.
func (j *Jobs) Get(ctx context.Context, id string) (*State, error) {
	s, _, err := j.read(ctx, id)
	return s, err
}

// read returns a job and the version of its head.
func (j *Jobs) read(ctx context.Context, id string) (*State, int64, error) {
	if !idForm.MatchString(id) {
		return nil, 0, notFound(id)
	}
	n, err := j.catalog.Follower.Store.GetNote(ctx, spaceHeads, id)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, 0, notFound(id)
	case err != nil:
		return nil, 0, err
	}
	var h head
	if err := json.Unmarshal(n.Body, &h); err != nil {
		return nil, 0, fmt.Errorf("job %s: %w: %v", id, store.ErrCorrupt, err)
	}
	events, err := all[Event](ctx, j.catalog.Follower.Store, spaceEvents, id)
	if err != nil {
		return nil, 0, err
	}
	if int64(len(events)) > h.Events { // written between the two reads
		events = events[:h.Events]
	}
	sealed, err := j.sealed(ctx, id)
	if err != nil {
		return nil, 0, err
	}
	for _, e := range events {
		e.Person, e.Words, e.Fitted = sealed.open(e.By), sealed.open(e.Text), sealed.open(e.NewPiece)
	}
	l := j.catalog.Follower.At(ctx, h.Position)
	s, err := fold(id, events, l)
	if err := l.Err(); err != nil {
		return nil, 0, err
	}
	if err != nil {
		return nil, 0, fmt.Errorf("%w: %v", store.ErrCorrupt, err)
	}
	s.Plate, s.VIN, s.Odometer = sealed.open(s.Start.Plate), sealed.open(s.Start.VIN), sealed.open(s.Start.Odometer)
	return s, n.Version, nil
}

// texts are the sealed texts of a job that were not erased, by key.
type texts map[string]apart

func (t texts) open(s Sealed) string {
	if s.Key == "" {
		return ""
	}
	a, ok := t[s.Key]
	if !ok {
		return Gone
	}
	return a.Text
}

func (j *Jobs) sealed(ctx context.Context, id string) (texts, error) {
	out := texts{}
	q := store.NoteQuery{Space: spaceApart, Term: "job:" + id, Limit: store.MaxLimit}
	for {
		notes, err := j.catalog.Follower.Store.ListNotes(ctx, q)
		if err != nil {
			return nil, err
		}
		for _, n := range notes {
			var a apart
			if err := json.Unmarshal(n.Body, &a); err != nil {
				return nil, fmt.Errorf("note %s/%s: %w: %v", n.Space, n.Key, store.ErrCorrupt, err)
			}
			_, key, _ := strings.Cut(n.Key, "/")
			out[key] = a
			q.After = n.Key
		}
		if len(notes) < q.Limit {
			return out, nil
		}
	}
}

// all reads the notes of a job in a space, in order of key.
func all[T any](ctx context.Context, s store.Store, space, id string) ([]*T, error) {
	var out []*T
	q := store.NoteQuery{Space: space, Term: "job:" + id, Limit: store.MaxLimit}
	for {
		notes, err := s.ListNotes(ctx, q)
		if err != nil {
			return nil, err
		}
		for _, n := range notes {
			v := new(T)
			if err := json.Unmarshal(n.Body, v); err != nil {
				return nil, fmt.Errorf("note %s/%s: %w: %v", n.Space, n.Key, store.ErrCorrupt, err)
			}
			out = append(out, v)
			q.After = n.Key
		}
		if len(notes) < q.Limit {
			return out, nil
		}
	}
}

// writing is what one event writes.
type writing struct {
	job   string
	time  time.Time
	notes []store.NoteWrite
}

// seal puts a text apart.
func (w *writing) seal(what, text string) Sealed {
	s, a := seal(what, text)
	if a != nil {
		body, _ := json.Marshal(a) // strings only
		w.notes = append(w.notes, store.NoteWrite{Space: spaceApart, Key: w.job + "/" + s.Key, Terms: []string{"job:" + w.job}, Body: body, Time: w.time})
	}
	return s
}

// maxFasteners is how many fasteners a head is listed by; a procedure has fewer.
const maxFasteners = 150

// write makes an event durable: the event, what it keeps apart, and the head on top
// of the version that the state was read at, all together.
func (j *Jobs) write(ctx context.Context, w *writing, s *State, e *Event, version int64) error {
	leaf, err := e.leaf()
	if err != nil {
		return fault.Field("done_time", "event cannot be kept: %v", err)
	}
	h := head{Procedure: s.Start.Procedure, Vehicle: s.Start.Vehicle, Position: s.Start.Position, Stands: s.Stands(), Events: e.Number}
	terms := []string{"state:" + h.Stands, "record:" + h.Procedure, "record:vehicles/" + h.Vehicle}
	for _, st := range s.Steps {
		for i := range st.Joints {
			if name := string(st.Joints[i].Fastener.Name()); !slices.Contains(h.Fasteners, name) && len(h.Fasteners) < maxFasteners {
				h.Fasteners = append(h.Fasteners, name)
				terms = append(terms, "record:"+name)
			}
		}
	}
	body, err := json.Marshal(h)
	if err != nil {
		return err
	}
	notes := append(w.notes,
		store.NoteWrite{Space: spaceEvents, Key: fmt.Sprintf("%s/%08d", s.ID, e.Number), Terms: []string{"job:" + s.ID}, Body: leaf, Time: w.time},
		store.NoteWrite{Space: spaceHeads, Key: s.ID, Base: version, Terms: terms, Body: body, Time: w.time},
	)
	return j.catalog.Follower.Store.WriteNotes(ctx, notes)
}

// checkTexts refuses texts that are too long or hold characters that nobody sees.
func checkTexts(fields map[string]string, most int) error {
	for _, name := range slices.Sorted(keys(fields)) {
		text := fields[name]
		switch {
		case len(text) > most:
			return fault.Field(name, "%s has %d bytes; allowed: %d", name, len(text), most)
		case strings.ContainsFunc(text, func(r rune) bool { return r < ' ' && r != '\n' }):
			return fault.Field(name, "%s holds a control character; write plain text", name)
		}
		if err := specdata.UnseenError(name, text); err != nil {
			return fault.Field(name, "%v", err)
		}
	}
	return nil
}

func keys(m map[string]string) func(func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

// Listed is a job in a list.
type Listed struct {
	ID string
	head
}

// List returns jobs, the newest first; state and record "" for all. after continues
// behind an id; next is "" on the last page.
func (j *Jobs) List(ctx context.Context, state, record string, size int, after string) (out []Listed, next string, err error) {
	q := store.NoteQuery{Space: spaceHeads, After: after, Descending: true, Limit: size + 1}
	switch {
	case state != "" && !slices.Contains([]string{"open", "stopped", "closed"}, state):
		return nil, "", fault.Field("state", "state %q does not exist; allowed: open, stopped, closed, or none for all", specdata.Shorten(state))
	case record != "":
		if _, err := specdata.ParseName(record); err != nil {
			return nil, "", fault.Field("record", "%v", err)
		}
		q.Term = "record:" + record
	case state != "":
		q.Term = "state:" + state
	}
	for len(out) <= size {
		notes, err := j.catalog.Follower.Store.ListNotes(ctx, q)
		if err != nil {
			return nil, "", err
		}
		for _, n := range notes {
			l := Listed{ID: n.Key}
			if err := json.Unmarshal(n.Body, &l.head); err != nil {
				return nil, "", fmt.Errorf("note %s/%s: %w: %v", n.Space, n.Key, store.ErrCorrupt, err)
			}
			q.After = n.Key
			if state == "" || l.Stands == state {
				out = append(out, l)
			}
		}
		if len(notes) < q.Limit {
			break
		}
	}
	if len(out) > size {
		out = out[:size]
		next = out[size-1].ID
	}
	return out, next, nil
}
