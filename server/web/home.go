package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"strings"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/view"
	"proofload/specdata"
)

// links is what GET / tells a program.
type links struct {
	Service    string            `json:"service"`
	Position   string            `json:"position"`
	Caution    string            `json:"caution"`
	Links      map[string]string `json:"links"`
	Vehicles   []string          `json:"vehicles"`
	TorqueOf   string            `json:"torque_table"`
	LintOf     string            `json:"lint"`
	ResolveOf  string            `json:"resolve"`
	vehicles   []*pb.Vehicle
	more       bool
	demoNotice string
	position   int64
}

// homeVehicles is how many vehicles the first page lists.
const homeVehicles = 200

func (p *Pages) home(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	l, err := p.links(ctx, r)
	accept := r.Header.Get("Accept")
	switch {
	case Wanted(r) && err != nil:
		p.Fail(w, r, err)
	case Wanted(r):
		f, err := p.findVehicles(ctx, r.URL.Query().Get("vehicle"), l)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		p.show(w, r, http.StatusOK, "home.html", everyVehicle(l.position), map[string]any{
			"Title": "Which vehicle?", "Links": l, "Found": f, "Demo": l.demoNotice, "Caution": view.Caution, "Host": r.Host, "Position": l.Position,
		})
	case err != nil:
		fault.From(err).Write(w, "")
	case strings.Contains(accept, "application/json"):
		body, err := json.MarshalIndent(l, "", " ")
		if err != nil {
			fault.From(err).Write(w, "")
			return
		}
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Vary", "Accept")
		w.Write(append(body, '\n'))
	default:
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.Header().Set("Vary", "Accept")
		w.Write(l.text(r.Host))
	}
}

func (p *Pages) links(ctx context.Context, r *http.Request) (*links, error) {
	views, next, position, err := p.catalog.List(ctx, kindQuery(specdata.KindVehicle), ask.Page{Size: homeVehicles}, ask.Newest())
	if err != nil {
		return nil, err
	}
	l := &links{
		Service: "proofload", Position: strconv.FormatInt(position, 10), Caution: view.Caution, more: next != "", position: position,
		Links: map[string]string{
			"vehicles": "/v1/vehicles", "fasteners": "/v1/fasteners", "assemblies": "/v1/assemblies", "procedures": "/v1/procedures",
			"sources": "/v1/sources", "search": "/v1/search?query=", "rules": "/v1/rules", "corrections": "/v1/corrections", "log": "/v1/log", "watch": "/v1/log:watch", "releases": "/v1/releases", "diff": "/v1/diff?from=", "service-desc": "/openapi.json", "health": "/healthz", "checkpoint": "/v1/checkpoints/newest", "key": "/v1/keys/ledger",
		},
		TorqueOf: "/v1/vehicles/{id}/fasteners", LintOf: "/v1/documents:lint", ResolveOf: "/v1/fasteners:resolve", Vehicles: []string{},
	}
	for _, v := range views {
		m := v.Message.(*pb.Vehicle)
		l.vehicles = append(l.vehicles, m)
		l.Vehicles = append(l.Vehicles, m.Name)
		if m.Notice.GetDemo() {
			l.demoNotice = m.Notice.DemoText
		}
	}
	return l, nil
}

// text tells a terminal what there is and what to type next.
func (l *links) text(host string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "proofload: fastening data for workshops, at position %s\n", l.Position)
	if l.demoNotice != "" {
		fmt.Fprintf(&b, "%s\n", l.demoNotice)
	}
	b.WriteString("\n")
	for _, v := range l.vehicles {
		fmt.Fprintf(&b, "  %-20s %s, %s\n", v.Id, v.Title, v.Built.GetText())
	}
	example := "ID"
	if len(l.vehicles) > 0 {
		example = l.vehicles[0].Id
	}
	fmt.Fprintf(&b, `
torque table   curl -H 'Accept: text/plain' http://%[1]s/v1/vehicles/%[2]s/fasteners
one record     curl http://%[1]s/v1/vehicles/%[2]s
search         curl 'http://%[1]s/v1/search?query=hub+nut'
check a file   curl --data-binary @FILE.yaml -H 'Content-Type: application/yaml' http://%[1]s/v1/documents:lint
everything     http://%[1]s/openapi.json, or this address in a browser

%[3]s
`, host, example, l.Caution)
	return b.Bytes()
}

// foundVehicles is what the first page answers to the words of a person.
type foundVehicles struct {
	// Words are what was typed.
	Words string
	Makes []vehicleMake
	// Problem says why nothing is found, More that the list is not whole.
	Problem string
	More    bool
}

// vehicleMake is a make and its vehicles, in order of title.
type vehicleMake struct {
	Make     string
	Vehicles []*pb.Vehicle
}

var (
	year      = regexp.MustCompile(`^(19|20)\d\d$`)
	vinLength = 17
)

// findVehicles lists the vehicles that a person may mean by a make, a model, a year
// of building or a vehicle identification number. Without words it lists what the
// first page has room for. Nothing found is not an error: the page says so and lists
// the vehicles there are.
func (p *Pages) findVehicles(ctx context.Context, words string, l *links) (*foundVehicles, error) {
	f := &foundVehicles{Words: strings.TrimSpace(words), More: l.more}
	if f.Words == "" {
		f.Makes = byMake(l.vehicles)
		return f, nil
	}
	keep := func(v *pb.Vehicle) bool { return hasWords(v, f.Words) }
	if vin := strings.ToUpper(strings.ReplaceAll(f.Words, " ", "")); len(vin) == vinLength && !strings.Contains(f.Words, " ") || strings.HasPrefix(strings.ToLower(f.Words), "vin ") {
		vin = strings.TrimPrefix(vin, "VIN")
		ids, err := p.catalog.VehiclesOfVIN(ctx, vin)
		if err != nil {
			if e := fault.From(err); e.Kind.Row().Status >= http.StatusInternalServerError {
				return nil, err
			} else {
				f.Problem = sentence(e.Message)
			}
		}
		keep = func(v *pb.Vehicle) bool {
			for _, id := range ids {
				if v.Id == id {
					return true
				}
			}
			return false
		}
	}
	var found []*pb.Vehicle
	for token := ""; ; {
		views, next, _, err := p.catalog.List(ctx, kindQuery(specdata.KindVehicle), ask.Page{Size: pageRows, Token: token}, ask.Newest())
		if err != nil {
			return nil, err
		}
		for _, v := range views {
			if m := v.Message.(*pb.Vehicle); keep(m) {
				found = append(found, m)
			}
		}
		if token = next; token == "" {
			break
		}
	}
	f.More = len(found) > homeVehicles
	if len(found) == 0 {
		if f.Problem == "" {
			f.Problem = fmt.Sprintf("No vehicle here is called %q. These are the ones there are:", f.Words)
		}
		found, f.More = l.vehicles, l.more
	}
	f.Makes = byMake(found[:min(len(found), homeVehicles)])
	return f, nil
}

// hasWords reports whether a vehicle has every word: in its title, make, model or id,
// or as a year it was built in.
func hasWords(v *pb.Vehicle, words string) bool {
	text := strings.ToLower(strings.Join([]string{v.Title, v.Make, v.Model, v.Id}, " "))
	for _, word := range strings.Fields(strings.ToLower(words)) {
		if strings.Contains(text, word) {
			continue
		}
		built := &specdata.Built{From: v.Built.GetFrom(), To: v.Built.GetTo()}
		one := &specdata.Built{From: word + "-01-01", To: word + "-12-31"}
		if !year.MatchString(word) || !built.Comparable(one) || !built.Overlaps(one) {
			return false
		}
	}
	return true
}

// byMake groups vehicles by make, in the order in which the makes come.
func byMake(vs []*pb.Vehicle) []vehicleMake {
	var out []vehicleMake
	at := map[string]int{}
	for _, v := range vs {
		i, ok := at[v.Make]
		if !ok {
			i = len(out)
			at[v.Make] = i
			out = append(out, vehicleMake{Make: v.Make})
		}
		out[i].Vehicles = append(out[i].Vehicles, v)
	}
	return out
}

// sentence turns the message of an error into a sentence for a page.
func sentence(message string) string {
	message = strings.TrimSpace(message)
	if message == "" {
		return ""
	}
	message = strings.ToUpper(message[:1]) + message[1:]
	if !strings.HasSuffix(message, "?") && !strings.HasSuffix(message, ".") {
		message += "."
	}
	return message
}
