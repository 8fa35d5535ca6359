package rpc

import (
	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/desk"
	"proofload/server/view"
)

// noteRead notes that a record was read under a token, so that anyone who relies on a
// value can be notified when it moves. It costs nothing where there is no token, and
// never waits.
func noteRead(reads *desk.Reads, caller *access.Token, views ...*view.View) {
	if reads == nil || caller == nil {
		return
	}
	for _, v := range views {
		if m, ok := v.Message.(interface{ GetPublished() *pb.Edition }); ok {
			reads.Note(caller.ID, v.Name, m.GetPublished().GetRevision())
		}
	}
}
