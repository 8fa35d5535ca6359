package job

import "testing"

// No text of a job holds what nobody sees: a card read aloud says what its bytes say.
func TestUnseenTexts(t *testing.T) {
	for _, c := range []string{"\u202e", "\u2066", "\u200b", "\u2028", "\u0085", "\ufeff", "\r", "\x00"} {
		if err := checkTexts(map[string]string{"text": "worn" + c + " bush"}, maxText); err == nil {
			t.Errorf("%q is taken", c)
		}
	}
	if err := checkTexts(map[string]string{"text": "bush worn, 0.2 mm\nsecond line – ≥ 24 N·m"}, maxText); err != nil {
		t.Error(err)
	}
}
