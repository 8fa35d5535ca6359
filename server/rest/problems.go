package rest

import (
	"fmt"
	"net/http"

	"proofload/server/fault"
)

// problems describes a kind of error at the address its problem details name.
func problems(w http.ResponseWriter, r *http.Request) {
	for _, row := range fault.Table {
		if row.Kind.Path() == "/problems/"+r.PathValue("kind") {
			body := fmt.Sprintf("%s\n\n%s\n%s\n\nHTTP %d, gRPC %s\n", row.Kind, row.Title, row.Mend, row.Status, row.Code)
			sendText(w, r, textType, []byte(body))
			return
		}
	}
	fail(w, r, notFound(r))
}
