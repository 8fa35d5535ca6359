package storetest

import (
	"testing"

	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/act"
)

// acts: what people with authority did is in the log and its tree, and nowhere else.
func acts(t *testing.T, w *world) {
	a := &act.Act{What: act.TokenGiven, ID: "token-0f3c9a51d2be-given", About: "tokens/0f3c9a51d2be", Title: "token given to Wheel Bolt", Details: map[string]string{"person": "Wheel Bolt"}}
	doc, err := a.Document()
	if err != nil {
		t.Fatal(err)
	}
	source := &specdata.Source{Head: specdata.Head{Kind: specdata.KindSource, ID: "sheet-1", Title: "Chassis sheet"}}
	first := w.publish(w.put(source, 0))
	at := w.publish(store.Change{Name: a.Name(), Document: doc})
	w.unchanged("an act a second time", store.ErrConflict, func() error {
		_, err := w.Publish(w.ctx, Publication(w.n+1, store.Change{Name: a.Name(), Document: doc}))
		return err
	})
	w.unchanged("an act under another name", store.ErrInvalid, func() error {
		_, err := w.Publish(w.ctx, Publication(w.n+1, store.Change{Name: "acts/token-0f3c9a51d2bf-given", Document: doc}))
		return err
	})
	look := func() {
		t.Helper()
		rs, err := w.Log(w.ctx, first, at, 10)
		if err != nil || len(rs) != 1 || rs[0].Name != a.Name() || string(rs[0].Document) != string(doc) {
			t.Errorf("the log tells %v, %v", names(rs), err)
		}
		for _, k := range specdata.Kinds {
			rs, err := w.List(w.ctx, store.Query{Kind: k, Limit: 10}, at)
			if err != nil || len(rs) > 0 && rs[0].Name != source.Name() || len(rs) > 1 {
				t.Errorf("%s lists %v, %v", k, names(rs), err)
			}
		}
		if hits, err := w.Search(w.ctx, "wheel bolt", "", 10); err != nil || len(hits) != 0 {
			t.Errorf("a search finds %v, %v", hits, err)
		}
		if got := w.get(a.Name(), at); got.Leaf != 1 {
			t.Errorf("the act is leaf %d", got.Leaf)
		}
		w.sound()
	}
	look()
	if err := w.Rebuild(w.ctx); err != nil {
		t.Fatal(err)
	}
	look()
}
