// Package presubmit holds tests about the repository itself: who may import whom,
// what stands at the top level, what a source file may not contain.
package presubmit

import (
	"fmt"
	"strings"
)

// room is a package, or several, with what may be imported there.
type room struct {
	// path is the package below the module; one that ends in "/..." is for the packages
	// below it that have no room of their own.
	path string
	// what the room is, in a few words: it stands in DEVELOPERS.md.
	what string
	// may lists the rooms of ours that it may import, "x/..." for x and all below. Of
	// these only rooms that stand earlier in the list: imports point down.
	may []string
	// outside lists prefixes of packages that are neither ours nor of the standard
	// library, "*" for any.
	outside []string
	// not lists packages of the standard library that may not be imported.
	not []string
}

var (
	pure     = []string{"os", "os/exec", "net", "net/http", "math/rand", "math/rand/v2"}
	noNet    = []string{"net", "net/http"}
	tree     = []string{"golang.org/x/mod/sumdb"}
	grpcStub = []string{"google.golang.org/grpc", "google.golang.org/protobuf", "google.golang.org/genproto"}
	service  = []string{"api/proofload/...", "schema", "specdata/...", "server/..."}
)

// rooms is the map of the house, the ground floor first. TestImports holds every
// package to it and TestMap the table of DEVELOPERS.md. A package that is in no row
// fails, so a new room is a decision that somebody reviews.
var rooms = []room{
	{"api/proofload/v1", "the wire contract's stubs, generated from `proto/`", nil, []string{"*"}, nil},
	{"api/openapi", "the OpenAPI document, generated", nil, nil, pure},
	{"api/client", "what other programs compile against; it drags no server in", []string{"api/..."}, []string{"*"}, nil},

	{"specdata", "record kinds, quantities, findings; plain Go that surprises nobody", nil, nil, pure},
	{"specdata/lexicon", "the trade's words: concepts, British and American", nil, nil, pure},
	{"specdata/person", "whether two names are of one person", []string{"specdata"}, []string{"golang.org/x/text", "github.com/mtibben/confusables"}, pure},
	{"schema/quick", "says of most valid documents that they surely are; delete me and lose only speed", nil, []string{"github.com/santhosh-tekuri/jsonschema/v5"}, pure},
	{"schema", "JSON Schema of the five kinds, and the one place that knows the validator; kinds and units come from the domain, which knows no schema", []string{"specdata", "schema/quick"}, []string{"github.com/santhosh-tekuri/jsonschema/v5"}, noNet},
	{"schema/schematest", "random documents for tests", []string{"specdata", "schema"}, []string{"pgregory.net/rapid"}, nil},
	{"specdata/document/scalar", "what a YAML scalar without quotes means, for every reader", nil, nil, pure},
	{"specdata/document/plain", "reads most YAML files fast; delete me and lose only speed", []string{"specdata/document/scalar"}, nil, pure},
	{"specdata/document", "bytes to record and back, strict, with places", []string{"specdata", "schema", "specdata/document/..."}, []string{"go.yaml.in/yaml/"}, pure},
	{"specdata/library", "a set of records behind one small interface", []string{"specdata", "specdata/document", "specdata/lexicon"}, nil, noNet},
	{"specdata/joint", "threads, strength, friction, torque and clamp load", []string{"specdata"}, nil, pure},
	{"specdata/wording", "records in shop words", []string{"specdata", "specdata/lexicon"}, nil, pure},
	{"specdata/change", "what differs between two states of a record, how far its torques moved", []string{"specdata", "specdata/wording"}, nil, pure},
	{"specdata/dryrun", "operations executed on a model of the assembly", []string{"specdata", "specdata/library", "specdata/lexicon"}, nil, pure},
	{"specdata/claim", "what a sentence claims, held against the acts it is about", []string{"specdata/..."}, nil, pure},
	{"specdata/narration", "what a presenter says, aligned with the steps and judged", []string{"specdata/..."}, nil, pure},
	{"specdata/act", "what a person with authority did, as the log holds it", []string{"specdata", "specdata/document"}, nil, pure},
	{"specdata/...", "the domain's other rooms, without network", []string{"specdata/..."}, nil, noNet},
	{"specdata/whom", "for which vehicle, variant, side and moment something holds; carried by every output", []string{"specdata/..."}, nil, pure},
	{"specdata/draft", "from an assembly and a part to a first procedure", []string{"specdata/..."}, nil, pure},
	{"specdata/sheet", "a procedure on paper; paper needs a PDF library", []string{"specdata/..."}, []string{"*"}, noNet},
	{"specdata/demo", "the demo library, embedded", []string{"specdata/..."}, nil, noNet},

	{"tools/lint", "the engine: rules, runs, waivers; files and clocks belong to the command line", []string{"specdata/..."}, []string{"github.com/evanphx/json-patch/v5"}, pure},
	{"tools/lint/baseline", "a baseline is a file of identities", []string{"specdata"}, nil, noNet},
	{"tools/lint/render", "findings as text, SARIF, JUnit", []string{"specdata/...", "tools/lint"}, nil, noNet},
	{"tools/lint/house", "a shop's own rules, in an expression language", []string{"specdata/...", "tools/lint"}, []string{"cel.dev/", "go.yaml.in/yaml/"}, pure},
	{"tools/lint/witness", "who would notice a wrong fact", []string{"specdata/...", "tools/lint"}, nil, pure},
	{"tools/lint/ruletest", "the fixture harness of rules", []string{"specdata/...", "tools/lint"}, []string{"golang.org/x/tools/txtar"}, noNet},
	{"tools/lint/rules/...", "one rule a folder; never another rule, a file, the network or the clock", []string{"specdata/...", "tools/lint"}, nil, pure},
	{"tools/lint/rules", "the list of rules, and its generator", []string{"specdata/...", "tools/lint/..."}, nil, pure},

	{"server/store", "the contract of a store: versioned records, moments, notes", []string{"specdata"}, nil, pure},
	{"server/ledger", "the verifiable log: leaves, checkpoints, proofs; small enough to read", []string{"specdata"}, tree, pure},
	{"server/ledger/personal", "people's own signatures, which no server can make", []string{"specdata"}, tree, noNet},
	{"server/ledger/rfc6962", "a second verifier, from the standards' text; it shares no line with the first, or it proves nothing", nil, nil, pure},
	{"server/store/index", "what is found by words and filters, the same for every engine", []string{"specdata/...", "server/store"}, []string{"golang.org/x/text"}, pure},
	{"server/store/rule", "what may be published, as pure functions", []string{"specdata", "server/ledger", "server/store", "server/store/index"}, tree, pure},
	{"server/store/recheck", "a whole history walked once, for every engine and the audit", []string{"specdata", "server/ledger", "server/store", "server/store/index"}, tree, pure},
	{"server/store/storetest", "the conformance suite of every store", []string{"specdata/...", "server/ledger", "server/store/..."}, []string{"*"}, noNet},
	{"server/store/postgres/pgtest", "a PostgreSQL server for tests", nil, []string{"github.com/jackc/pgx/v5"}, nil},
	{"server/store/...", "the engines; they only read and write rows, and know nothing of transports", []string{"specdata", "server/ledger", "server/store/..."}, []string{"*"}, noNet[1:]},
	{"server/store/address", "where a store is: sqlite:FILE, postgres://…", []string{"server/store/..."}, nil, noNet[1:]},
	{"server/fault", "the one table of errors, for both wires", []string{"api/proofload/...", "server/store"}, grpcStub, nil},
	{"server/ask", "reads the words of a request, for both wires, the pages and the command line", []string{"specdata", "server/fault", "server/store"}, nil, pure},
	{"server/access", "who may reach the server and call what", []string{"api/proofload/...", "specdata", "specdata/person", "server/fault", "server/store"}, []string{"*"}, []string{"os"}},
	{"server/check", "the judge of documents as the service sees it; the main hands it in", []string{"specdata", "specdata/library"}, nil, pure},
	{"server/snapshot", "a library at a position, cached", []string{"specdata", "specdata/library", "server/store", "server/store/index"}, nil, pure},
	{"server/transfer", "a library out of a store and into another", []string{"specdata/...", "server/ledger", "server/snapshot", "server/store"}, tree, noNet},
	{"server/intake", "a library into a store, judged first", []string{"specdata/...", "server/check", "server/store", "server/transfer"}, nil, pure},
	{"server/pulse", "whether the store answers", []string{"server/fault", "server/store"}, nil, pure},
	{"server/feed", "the log handed to many watchers: one reader, a ring, cursors into the store", []string{"specdata", "server/fault", "server/store", "server/store/index"}, nil, pure},
	{"server/notary", "holds the signing key and proves; whoever holds the key does nothing else", []string{"specdata", "server/fault", "server/ledger", "server/store"}, tree, noNet},
	{"server/audit", "goes through a whole history; reads any store and changes none", []string{"specdata", "server/ledger", "server/notary", "server/store", "server/store/recheck"}, tree, pure},
	{"server/view", "records as messages, with both unit systems and everything worked out", []string{"api/proofload/...", "specdata/...", "server/store"}, grpcStub, pure},
	{"server/catalog", "answers questions about the library", []string{"specdata/...", "server/ask", "server/fault", "server/feed", "server/snapshot", "server/store", "server/store/index", "server/view"}, nil, pure},
	{"server/desk", "leads corrections; compares people", []string{"specdata/...", "server/ask", "server/check", "server/fault", "server/ledger/personal", "server/snapshot", "server/store"}, []string{"github.com/evanphx/json-patch/v5"}, pure[:4]},
	{"server/...", "the service's other rooms; never `tools`: the main hands the checker in, so the rules that gate a correction are those that the editor ran", service, []string{"*"}, nil},
	{"server/job", "open jobs: what people did on one vehicle, stepped through the dry run; append-only, provable, erasable", []string{"specdata/...", "server/ask", "server/catalog", "server/fault", "server/store"}, tree, pure},
	{"server/trail", "leaves a trace in the log of whatever needs authority", []string{"specdata/...", "server/access", "server/desk", "server/store"}, nil, noNet},
	{"server/spoken", "transcripts held against the library of a moment, and references to them", []string{"specdata/...", "server/ask", "server/catalog", "server/desk", "server/fault"}, nil, pure},
	{"server/prints", "sheets with a code on them, and whether they still hold", service, nil, pure},
	{"server/meter", "counts what the server does, for those who watch over many", nil, []string{"github.com/prometheus/client_golang"}, nil},
	{"server/doctor", "looks at what a server needs before it is started", []string{"server/notary", "server/store", "server/store/address"}, nil, nil},
	{"server/rpc", "the services, and gRPC", service, grpcStub, noNet[1:]},
	{"server/web", "the pages", service, append([]string{"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"}, grpcStub...), nil},
	{"server/rest", "REST; it calls the services in process", append([]string{"api/openapi"}, service...), []string{"*"}, nil},
	{"server", "the main, which wires", []string{"..."}, []string{"*"}, nil},

	{"tools/...", "programs of developers, and their parts", []string{"..."}, []string{"*"}, nil},
	{"tools/proofload", "the command line", []string{"..."}, []string{"*"}, nil},
}

const module = "proofload/"

// roomOf returns the index of a package's room, -1 where it has none.
func roomOf(path string) int {
	best, length := -1, -1
	for i, r := range rooms {
		above, below := strings.CutSuffix(r.path, "/...")
		if n := len(above); path == above && !below || below && strings.HasPrefix(path, above+"/") {
			if !below {
				return i
			}
			if n > length {
				best, length = i, n
			}
		}
	}
	return best
}

// covers reports whether an entry of may is for a package.
func covers(entry, path string) bool {
	above, below := strings.CutSuffix(entry, "...")
	above = strings.TrimSuffix(above, "/")
	return path == above || below && (above == "" || strings.HasPrefix(path, above+"/"))
}

// complaints returns what is wrong with the imports of a package. main reports
// whether a package of ours is a main.
func complaints(path string, imports []string, main func(string) bool) []string {
	var out []string
	at := roomOf(path)
	if at < 0 {
		return []string{fmt.Sprintf("%s is in no room of the map; add a row in tools/presubmit/map.go that says what it is and what it may import", path)}
	}
	r := rooms[at]
	for _, imp := range imports {
		own, ours := strings.CutPrefix(imp, module)
		switch {
		case ours && main(own):
			out = append(out, fmt.Sprintf("%s imports %s, a main; nothing imports a main", path, own))
		case ours && !allowed(r.may, own):
			out = append(out, fmt.Sprintf("%s (%s) imports %s; it may import %s", path, r.what, own, r.says()))
		case ours && roomOf(own) > at:
			out = append(out, fmt.Sprintf("%s imports %s, which is a floor above it; imports point down the list of tools/presubmit/map.go", path, own))
		case !ours && strings.Contains(strings.SplitN(imp, "/", 2)[0], ".") && !outside(r.outside, imp):
			out = append(out, fmt.Sprintf("%s (%s) imports %s; of packages from elsewhere it may import %v", path, r.what, imp, r.outside))
		}
		for _, n := range r.not {
			if imp == n {
				out = append(out, fmt.Sprintf("%s (%s) imports %s, which is not for this room", path, r.what, imp))
			}
		}
	}
	return out
}

func allowed(may []string, path string) bool {
	for _, m := range may {
		if covers(m, path) {
			return true
		}
	}
	return false
}

func outside(prefixes []string, imp string) bool {
	for _, p := range prefixes {
		if p == "*" || strings.HasPrefix(imp, p) {
			return true
		}
	}
	return false
}

// says returns what the room may import of ours, in words.
func (r room) says() string {
	switch {
	case len(r.may) == 0:
		return "nothing of ours"
	case r.may[0] == "...":
		return "anything but a main"
	}
	names := make([]string, len(r.may))
	for i, m := range r.may {
		names[i] = "`" + m + "`"
	}
	return strings.Join(names, ", ")
}

// Table returns the map as DEVELOPERS.md shows it.
func Table() string {
	var b strings.Builder
	b.WriteString("| Room | What it is | May import, of the rooms above it |\n| --- | --- | --- |\n")
	for _, r := range rooms {
		fmt.Fprintf(&b, "| `%s` | %s | %s |\n", r.path, r.what, r.says())
	}
	return b.String()
}
