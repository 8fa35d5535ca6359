package main

import (
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	pb "proofload/api/proofload/v1"
)

// vehicleless are the answers that say of no value, step or verdict for which vehicle it
// holds, with why. Every other answer carries a ForWhom, and so does a new one.
var vehicleless = map[string]string{
	"CreateToken": "a token", "ListTokens": "tokens", "RevokeToken": "a token",
	"LintDocuments": "findings name their record", "EvaluateJoint": "a joint of no vehicle", "ListRules": "rules", "GetRule": "a rule",
	"GetVehicle": "the vehicle itself", "ListVehicles": "the vehicles themselves", "GetSource": "a source", "ListSources": "sources",
	"GetDocument": "the signed bytes, which hold applies_to", "ListRevisions": "who changed it and when", "ListUses": "names of records",
	"GetCorrectionReach": "names of records, sheets and people; the correction says for whom", "CreateRelease": "a named position", "GetRelease": "a named position", "ListReleases": "named positions",
	"GetVerifierKey": "a key", "GetCheckpoint": "a signed tree", "GetGrowth": "hashes", "GetProof": "hashes",
	"GetJobExport": "the events as they were hashed; GetJob says for whom",
}

// Every answer of every service can say for whom it holds, over both wires, which share
// their messages; what cannot is listed with why.
func TestEveryAnswerSaysForWhom(t *testing.T) {
	whom := (&pb.ForWhom{}).ProtoReflect().Descriptor().FullName()
	n := 0
	for _, f := range []protoreflect.FileDescriptor{
		pb.File_proofload_v1_access_proto, pb.File_proofload_v1_checks_proto, pb.File_proofload_v1_corrections_proto, pb.File_proofload_v1_history_proto,
		pb.File_proofload_v1_jobs_proto, pb.File_proofload_v1_ledger_proto, pb.File_proofload_v1_specs_proto,
	} {
		for i := range f.Services().Len() {
			methods := f.Services().Get(i).Methods()
			for k := range methods.Len() {
				m := methods.Get(k)
				n++
				says, why := reaches(m.Output(), whom, map[protoreflect.FullName]bool{}), vehicleless[string(m.Name())]
				switch {
				case !says && why == "":
					t.Errorf("%s answers with %s, which has no ForWhom; add one, or say in vehicleless why it needs none", m.FullName(), m.Output().Name())
				case says && why != "":
					t.Errorf("%s is excused (%s), yet it has a ForWhom", m.FullName(), why)
				}
			}
		}
	}
	if n < 40 {
		t.Errorf("only %d methods were looked at", n)
	}
}

// reaches reports whether a message has another in it, however deep.
func reaches(m protoreflect.MessageDescriptor, name protoreflect.FullName, seen map[protoreflect.FullName]bool) bool {
	if m.FullName() == name {
		return true
	}
	if seen[m.FullName()] {
		return false
	}
	seen[m.FullName()] = true
	for i := range m.Fields().Len() {
		if f := m.Fields().Get(i); f.Message() != nil && reaches(f.Message(), name, seen) {
			return true
		}
	}
	return false
}
