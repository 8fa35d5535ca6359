package lint

import (
	"encoding/json"
	"strconv"
	"strings"
)

// decoded is a document decoded at most once, when a finding first needs it.
type decoded struct {
	canonical []byte
	value     any
	done      bool
}

func (d *decoded) root() any {
	if !d.done {
		d.done = true
		if json.Unmarshal(d.canonical, &d.value) != nil {
			d.value = nil
		}
	}
	return d.value
}

// keys are the members that name an element of a list, first match wins.
var keys = []string{"id", "vehicle", "rule", "fastener"}

// maxValue is the most of a list or object that a finding repeats, in bytes.
const maxValue = 200

// lookUp returns the value at a JSON pointer, as text (strings without quotes,
// anything else as JSON, "" where there is nothing), and the pointer by key: list
// elements that have an id, a vehicle, a rule or a fastener are named by it, so
// that identity survives reordering. An element whose name another element of the
// list shares carries its number among those, or the two could not be told apart.
func (d *decoded) lookUp(pointer string) (value, byKey string) {
	v := d.root()
	var key strings.Builder
	if pointer != "" {
		for _, token := range strings.Split(pointer, "/")[1:] {
			name := token
			switch t := v.(type) {
			case map[string]any:
				v = t[strings.NewReplacer("~1", "/", "~0", "~").Replace(token)]
			case []any:
				i, err := strconv.Atoi(token)
				if err != nil || i < 0 || i >= len(t) {
					v = nil
					break
				}
				name, v = elementName(t, i), t[i]
			default:
				v = nil
			}
			key.WriteString("/" + name)
		}
	}
	return text(v), key.String()
}

// elementName names an element of a list by its key, or by its number where it has none.
func elementName(list []any, i int) string {
	k, id := keyOf(list[i])
	if id == "" {
		return strconv.Itoa(i)
	}
	nth := 0
	for _, e := range list[:i] {
		if ok, oid := keyOf(e); ok == k && oid == id {
			nth++
		}
	}
	if nth == 0 {
		return k + "=" + id
	}
	return k + "=" + id + "#" + strconv.Itoa(nth)
}

func keyOf(v any) (key, id string) {
	m, ok := v.(map[string]any)
	if !ok {
		return "", ""
	}
	for _, k := range keys {
		if s, ok := m[k].(string); ok {
			return k, s
		}
	}
	return "", ""
}

func text(v any) string {
	switch t := v.(type) {
	case nil:
		return ""
	case string:
		return t
	}
	b, err := json.Marshal(v)
	if err != nil {
		return ""
	}
	return clip(b)
}

// clip cuts at a character, so that the text stays valid UTF-8.
func clip(b []byte) string {
	if len(b) <= maxValue {
		return string(b)
	}
	return strings.ToValidUTF8(string(b[:maxValue]), "") + "…"
}
