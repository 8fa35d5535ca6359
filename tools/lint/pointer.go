package lint

import (
	"encoding/json"
	"strconv"
	"strings"
)

// lookUp gives the value at a JSON pointer of a document, as text (strings
// without quotes, anything else as JSON, "" where there is nothing), and the
// pointer by key: list elements that have an id, a vehicle or a rule are named by
// it, so that identity survives reordering.
func lookUp(doc []byte, pointer string) (value, byKey string) {
	var v any
	if json.Unmarshal(doc, &v) != nil {
		return "", pointer
	}
	var key strings.Builder
	if pointer != "" {
		for _, token := range strings.Split(pointer, "/")[1:] {
			token = strings.NewReplacer("~1", "/", "~0", "~").Replace(token)
			name := token
			switch t := v.(type) {
			case map[string]any:
				v = t[token]
			case []any:
				i, err := strconv.Atoi(token)
				if err != nil || i < 0 || i >= len(t) {
					v = nil
					break
				}
				v = t[i]
				if m, ok := v.(map[string]any); ok {
					for _, k := range []string{"id", "vehicle", "rule", "fastener"} {
						if s, ok := m[k].(string); ok {
							name = k + "=" + s
							break
						}
					}
				}
			default:
				v = nil
			}
			key.WriteString("/" + name)
		}
	}
	switch t := v.(type) {
	case nil:
		return "", key.String()
	case string:
		return t, key.String()
	}
	b, err := json.Marshal(v)
	if err != nil {
		return "", key.String()
	}
	if len(b) > 200 {
		b = append(b[:200:200], "…"...)
	}
	return string(b), key.String()
}
