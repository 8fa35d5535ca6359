package rest

import (
	"net/http"
	"strings"

	"proofload/schema"
	"proofload/server/fault"
	"proofload/specdata"
)

var schemaType = []string{"application/schema+json"}

// schemas serves the form of each kind of record as one JSON Schema, for editors.
func schemas(w http.ResponseWriter, r *http.Request) {
	kind := strings.TrimSuffix(r.PathValue("file"), ".json")
	b, err := schema.Bundle(specdata.Kind(kind))
	if err != nil || !strings.HasSuffix(r.PathValue("file"), ".json") {
		fail(w, r, fault.New(fault.RouteNotFound, "schema %q does not exist; those that do: /schemas/library.json, vehicle.json, fastener.json, assembly.json, procedure.json, source.json", r.PathValue("file")))
		return
	}
	w.Header()["Cache-Control"] = revalidate
	w.Header()["Content-Type"] = schemaType
	sendValidated(w, r, b)
}
