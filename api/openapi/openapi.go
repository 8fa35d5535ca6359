// Package openapi holds the OpenAPI 3.1 document of the REST interface.
package openapi

import _ "embed"

// Everything under api/proofload and this folder's document is made from proto/.
//go:generate go run proofload/tools/protogen

// JSON is the document.
//
//go:embed proofload.v1.json
var JSON []byte
