package web

import (
	"net/http"

	"proofload/specdata"
)

// address is one pattern of the standard router and the page that answers it.
type address struct {
	pattern string
	page    http.HandlerFunc
}

// addresses are all pages, in one list: the pages answer them and the REST handler
// hands them over.
func (p *Pages) addresses() []address {
	all := []address{
		{"GET /{$}", p.home},
		{"GET /style.css", p.css},
		{"GET /search", p.search},
		{"GET /vehicles/{id}", p.vehicle},
		{"GET /procedures/{id}/present", p.present},
		{"GET /releases", p.releases},
		{"GET /diff", p.diff},
		{"GET /corrections", p.listCorrections},
		{"GET /corrections/new", p.edit},
		{"POST /corrections/new", p.propose},
		{"GET /corrections/{id}", p.correction},
		{"POST /corrections/{id}", p.decide},
		{"GET /edit.js", p.script("edit.js")},
		{"GET /live.js", p.script("live.js")},
		{"GET /sign-in", p.signIn},
		{"POST /sign-in", p.signingIn},
		{"POST /sign-out", p.signOut},
		{"GET /jobs", p.listJobs},
		{"POST /jobs", p.openJob},
		{"GET /jobs/new", p.door},
		{"GET /jobs/moved", p.movedJobs},
		{"GET /jobs/{id}", p.bay},
		{"POST /jobs/{id}", p.recordJob},
		{"GET /jobs/{id}/tag", p.tag},
		{"GET /jobs/{id}/dates.ics", p.calendar},
		{"GET /bay.js", p.script("bay.js")},
		{"GET /worker.js", p.script("worker.js")},
		{"GET /checks", p.askCode},
		{"GET /checks/{code}", p.check},
	}
	for _, k := range specdata.Kinds {
		if k != specdata.KindVehicle {
			all = append(all, address{"GET /" + k.Collection() + "/{id}", p.record(k)})
		}
		all = append(all, address{"GET /" + k.Collection() + "/{id}/history", p.history(k)})
	}
	return all
}

// Addresses lists the patterns of all pages, method first, as http.ServeMux takes them.
func (p *Pages) Addresses() []string {
	var out []string
	for _, a := range p.addresses() {
		out = append(out, a.pattern)
	}
	return out
}
