package main

import (
	"slices"
	"strings"

	"proofload/specdata"
)

// Forms of values that several fields have.
const (
	wholeNumber = `^-?(0|[1-9][0-9]{0,18})$`
	position    = `^(0|[1-9][0-9]{0,17})$`
	moment      = `^(|position:[1-9][0-9]{0,17}|time:` + calendarDay + `T` + clock + `(\.[0-9]{1,9})?(Z|[+-]` + hourMinute + `)|release:[A-Za-z0-9][A-Za-z0-9._-]{0,79})$`
	hourMinute  = `([01][0-9]|2[0-3]):[0-5][0-9]`
	clock       = hourMinute + `:[0-5][0-9]`
	calendarDay = `(?:[0-9]{4}-(?:(?:0[13578]|1[02])-(?:0[1-9]|[12][0-9]|3[01])|(?:0[469]|11)-(?:0[1-9]|[12][0-9]|30)|02-(?:0[1-9]|1[0-9]|2[0-8]))|(?:[0-9]{2}(?:0[48]|[2468][048]|[13579][26])|(?:[02468][048]|[13579][26])00)-02-29)`
	jsonPointer = `^(/([^~/]|~[01])*)*$`
	sha256Hex   = `^[0-9a-f]{64}$`
	id          = `^[a-z0-9]+(-[a-z0-9]+)*$`
	collections = "vehicles|fasteners|assemblies|procedures|sources"
	vin         = `^[A-HJ-NPR-Z0-9]{17}$`
	day         = `^` + calendarDay + `$`
)

// timeless are the fields that have one form wherever they stand.
var timeless = map[string]bool{"document_hash": true, "content_hash": true}

func words[S ~string](ws ...S) object {
	var out []any
	for _, w := range ws {
		out = append(out, string(w))
	}
	return object{"enum": out}
}

func form(pattern string, examples ...any) object {
	o := object{"pattern": pattern}
	if len(examples) > 0 {
		o["examples"] = examples
	}
	return o
}

// nameIn is the form of the names of a collection.
func nameIn(collection string, examples ...any) object {
	o := form(`^(`+collection+`)/[a-z0-9]+(-[a-z0-9]+)*$`, examples...)
	o["maxLength"] = len("vehicles/") + 80 // an id has 80 characters at most
	return o
}

// oneOf says that exactly one of several fields is given.
func oneOf(fields ...string) object {
	var out []any
	for _, f := range fields {
		out = append(out, object{"required": []any{f}})
	}
	return object{"oneOf": out}
}

// ownShapes are what is said of several fields of a request together.
var ownShapes = map[string]object{
	"CorrectionChange":     {"oneOf": oneOf("merge_patch", "json_patch", "document", "withdraw", "drop")["oneOf"], "not": object{"required": []any{"base_revision", "base_hash"}}},
	"EvaluateJointRequest": {"anyOf": []any{object{"required": []any{"thread"}}, object{"required": []any{"fastener"}}}},
}

// anyOf lists one word for each of a set that is joined by spaces.
func anyOf(s string) object { return words(strings.Fields(s)...) }

// likeDocuments are the fields of requests that take what a field of a document takes.
var likeDocuments = map[string]string{
	"EvaluateJointRequest.bolt": "Strength.bolt", "EvaluateJointRequest.nut": "Strength.nut", "EvaluateJointRequest.drive": "Drive.head",
	"EvaluateJointRequest.surface": "Surface.condition", "EvaluateJointRequest.friction": "Surface.friction", "EvaluateJointRequest.into": "Thread.into",
	"EvaluateJointRequest.engagement": "Thread.engagement", "EvaluateJointRequest.grip": "Thread.grip", "EvaluateJointRequest.torque": "Stage.torque",
	"EvaluateJointRequest.angle": "Stage.angle", "EvaluateJointRequest.tolerance": "Tightening.tolerance", "EvaluateJointRequest.drag": "Tightening.drag_torque",
	"EvaluateJointRequest.thread": "Thread.designation", "EvaluateJointRequest.joint": "Fastener.joint",
	"ListFastenersRequest.thread": "Thread.designation", "ListFastenersRequest.joint": "Fastener.joint",
	"ResolveFastenerRequest.thread": "Thread.designation",
	"Fastening.state":               "Tightening.state", "Fastening.safety": "Fastener.safety", "MovedRecord.safety": "Fastener.safety", "Difference.safety": "Fastener.safety", "MovedJob.safety": "Fastener.safety",
	"ListVehicleFastenersRequest.built": "Built.from", "ResolveFastenerRequest.built": "Built.from", "Job.built": "Built.from",
}

// ownFacts are what no document has: "*" stands for every request.
var ownFacts = map[string]object{
	"*.at":            form(moment, "position:1"),
	"*.min_position":  form(position, "1"),
	"*.after":         form(position, "0"),
	"*.from_position": form(position, "1"),
	"*.from_size":     form(position, "1"),
	"*.page_size":     {"minimum": 0, "examples": []any{10}},
	"*.page_token":    {"pattern": `^[A-Za-z0-9_-]*$`, "maxLength": 400},
	"*.request_id":    {"pattern": `^[!-.0-~]+$`, "maxLength": 100, "examples": []any{"7d9c2f"}},
	"*.etag":          form(`^"[1-9][0-9]{0,17}"$`, `"1"`),
	"*.content_hash":  form(sha256Hex),
	"*.document_hash": form(sha256Hex),
	"*.source":        {"pattern": id, "maxLength": 80, "examples": []any{"quill-chassis-2018"}},
	"*.vehicle":       {"pattern": id, "maxLength": 80, "examples": []any{"quill-1"}},
	"*.place":         {"maxLength": 80, "examples": []any{"rear hub"}},
	"*.vin":           form(vin),
	"*.kind":          words(specdata.Kinds...),
	"*.kinds":         words(specdata.Kinds...),
	// The log also tells acts, which are no records.
	"ListLogRequest.kinds":  words(append(slices.Clone(specdata.Kinds), "act")...),
	"WatchLogRequest.kinds": words(append(slices.Clone(specdata.Kinds), "act")...),
	"*.names":               nameIn(collections, "fasteners/quill-1-rear-hub-nut"),
	"*.options":             form(`^[a-z0-9]+(_[a-z0-9]+)*=[a-z0-9]+([-.][a-z0-9]+)*$`, "rear_brake=disc"),
	"*.comment":             {"maxLength": 2000},
	"*.evidence":            {"minLength": 1, "maxLength": 500},
	"Correction.evidence":   {"minLength": 1, "maxLength": 500, "examples": []any{"sheet 2 row 1"}},

	"ListVehicleFastenersRequest.side": words(specdata.SideLeft, specdata.SideRight, specdata.SideCentre),
	"ResolveFastenerRequest.side":      words(specdata.SideLeft, specdata.SideRight, specdata.SideCentre),
	"ResolveFastenerRequest.title":     {"maxLength": 200, "examples": []any{"hub nut"}},
	"ResolveFastenerResponse.outcome":  words("resolved", "ask", "none"),
	"SearchRequest.query":              {"minLength": 1, "maxLength": 200, "pattern": `[^\s]`, "examples": []any{"hub nut"}},
	"DiffLibraryRequest.from":          form(moment, "position:1"),
	"DiffLibraryRequest.to":            form(moment, "position:1"),
	"Difference.how":                   anyOf("added changed withdrawn revived removed"),
	"WatchLogResponse.event":           anyOf("publication progress"),
	"CreateReleaseRequest.release_id":  form(`^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$`, "2026-10"),
	"Release.name":                     form(`^releases/[A-Za-z0-9][A-Za-z0-9._-]{0,79}$`),
	"Release.note":                     {"maxLength": 1000, "examples": []any{"October books"}},

	"Vehicle.name": nameIn("vehicles"), "Fastener.name": nameIn("fasteners"), "Assembly.name": nameIn("assemblies"),
	"Procedure.name": nameIn("procedures"), "Source.name": nameIn("sources"),
	"Edition.etag":      form(`^"[0-9a-z-]+"$`),
	"Quantity.si_unit":  anyOf("N·m m rad N Pa m³ 1 s kg"),
	"DryRunMoment.side": words(specdata.SideLeft, specdata.SideRight), "DryRunTorque.side": words(specdata.SideLeft, specdata.SideRight),
	"JobStep.side": words(specdata.SideLeft, specdata.SideRight),

	"Finding.severity":              words(specdata.Error, specdata.Warning, specdata.Advice),
	"Rule.severity":                 words(specdata.Error, specdata.Warning, specdata.Advice),
	"Rule.kinds":                    words(specdata.Kinds...),
	"Rule.name":                     nameIn("rules"),
	"PatchOperation.op":             anyOf("add remove replace"),
	"InputDocument.text":            {"minLength": 1},
	"EvaluateJointRequest.fastener": nameIn("fasteners", "fasteners/quill-1-rear-hub-nut"),
	"EvaluateJointResponse.verdict": words("not judged", "slack", "low", "good", "high", "may yield", "over yield", "breaks"),
	"WindowBound.name":              words("slack below", "low below", "high above", "may yield above", "over yield above", "breaks above"),

	"Correction.state":                anyOf("open approved published rejected withdrawn"),
	"ListCorrectionsRequest.state":    anyOf("open approved published rejected withdrawn"),
	"ListCorrectionsRequest.record":   nameIn(collections, "fasteners/quill-1-rear-hub-nut"),
	"Correction.name":                 form(`^corrections/[0-9a-z-]+$`),
	"Correction.reason":               {"minLength": 10, "maxLength": 2000, "pattern": sentence, "examples": []any{"row 1 of sheet 2 was misread as 62"}},
	"AmendCorrectionRequest.reason":   {"minLength": 10, "maxLength": 2000, "pattern": sentence},
	"RejectCorrectionRequest.comment": {"minLength": 10, "maxLength": 2000, "pattern": sentence},
	"CorrectionChange.record":         nameIn(collections, "fasteners/quill-1-rear-hub-nut"),
	"CorrectionChange.base_revision":  form(position, "1"),
	"CorrectionChange.document":       {"minLength": 1},
	"CorrectionChange.withdraw":       {"enum": []any{true}},
	"CorrectionChange.drop":           {"enum": []any{true}},
	"CorrectionChange.base_hash":      form(sha256Hex),

	"SignCorrectionRequest.note": form(signedNote),

	"CheckNarrationRequest.procedure": nameIn("procedures", "procedures/quill-1-rear-hub-bearing"), "Narration.procedure": nameIn("procedures", "procedures/quill-1-rear-hub-bearing"),
	"CheckNarrationRequest.file": transcriptFile, "Narration.file": transcriptFile,
	"CheckNarrationRequest.text": transcript, "Narration.text": transcript,
	"CheckNarrationRequest.side": words(specdata.SideLeft, specdata.SideRight), "Narration.side": words(specdata.SideLeft, specdata.SideRight),
	"Narration.vehicle":            {"pattern": id, "maxLength": 80, "examples": []any{"quill-1"}},
	"Narration.options":            form(`^[a-z0-9]+(_[a-z0-9]+)*=[a-z0-9]+([-.][a-z0-9]+)*$`, "rear_brake=disc"),
	"Narration.position":           form(position),
	"Narration.reference":          {"minLength": 1, "maxLength": 500, "pattern": `[^\s]`, "examples": []any{"shop channel, film 12"}},
	"ListNarrationsRequest.record": nameIn("procedures|fasteners", "fasteners/quill-1-rear-hub-nut"),

	"Token.roles":                anyOf("reader editor reviewer admin"),
	"Token.name":                 form(`^tokens/[0-9a-f]+$`),
	"Check.state":                anyOf("current superseded withdrawn"),
	"Proof.leaf_index":           form(position),
	"VerifierKey.name":           form(`^keys/ledger$`),
	"GetVerifierKeyRequest.name": form(`^keys/ledger$`),

	"Job.state":                   anyOf("open stopped closed"),
	"ListJobsRequest.state":       anyOf("open stopped closed"),
	"ListJobsRequest.record":      nameIn("procedures|vehicles|fasteners", "vehicles/quill-1"),
	"ListMovedJobsRequest.record": nameIn("procedures|vehicles|fasteners", "vehicles/quill-1"),
	"Job.name":                    form(`^jobs/[0-9a-z-]+$`),
	"Job.procedure":               nameIn("procedures", "procedures/quill-1-rear-hub-bearing"),
	"Job.vehicle":                 {"pattern": id, "maxLength": 80, "examples": []any{"quill-1"}},
	"Job.options":                 form(`^[a-z0-9]+(_[a-z0-9]+)*=[a-z0-9]+([-.][a-z0-9]+)*$`, "rear_brake=disc"),
	"Job.side":                    words(specdata.SideLeft, specdata.SideRight),
	"Job.position":                form(position),
	"Job.vin":                     form(vin),
	"JobEvent.kind":               anyOf("opened wrench ticked skipped undone reached measured answered noted photo stopped taken-over followed-up closed reopened erased"),
	"JobEvent.photo_hash":         form(sha256Hex),
	"JobEvent.calibrated_until":   form(day),
	"JobWrench.calibrated_until":  form(day),
	"EraseJobRequest.what":        anyOf("people vehicle text"),
	"JobText.what":                anyOf("people vehicle text"),
}

// sentence is the form of a text of at least 10 characters, blanks around it not counted.
const sentence = `^\s*[^\s][\s\S]{8,}[^\s]\s*$`

// A signed note (c2sp.org/signed-note) of one Ed25519 signature, whose 68 bytes are 91
// characters of base64 and one to fill, on the statement that people sign.
const (
	line       = "[ -~\u00a1-\u167f\u3001-\ud7ff]+"
	keyName    = "[!-*,-~\u00a1-\u167f\u3001-\ud7ff]+"
	signedNote = `^proofload correction\nlibrary ` + line + `\ncontent [0-9a-f]{64}\nas (author|reviewer)\nperson ` + line + `\n\n— ` + keyName + ` [A-Za-z0-9+/]{91}=\n$`
)

// What a narration brings: the name of a transcript tells how to read it.
var (
	transcriptFile = object{"minLength": 1, "maxLength": 200, "pattern": `\.([Vv][Tt][Tt]|[Ss][Rr][Tt]|[Tt][Xx][Tt])$`, "examples": []any{"rear-hub.vtt"}}
	transcript     = object{"minLength": 1, "pattern": `[^\s]`, "examples": []any{"WEBVTT\n\n00:01.000 --> 00:03.000\nChock the wheels.\n"}}
)

// sheetCode is the form of the codes of printed sheets, in any case, hyphens or none.
const sheetCode = `^[Pp][Ll](-?[0-9A-HJ-KM-NP-TV-Za-hj-km-np-tv-z]){16}$`

// jsonPatch is the form of a JSON Patch (RFC 6902, section 4).
func jsonPatch() object {
	pointer := object{"type": "string", "pattern": jsonPointer}
	one := func(ops []string, also ...string) object {
		properties, required := object{"op": object{"type": "string", "enum": words(ops...)["enum"]}, "path": pointer}, []any{"op", "path"}
		for _, a := range also {
			required = append(required, a)
			properties[a] = object{"description": "Any JSON value."}
			if a == "from" {
				properties[a] = pointer
			}
		}
		return object{"type": "object", "required": required, "properties": properties}
	}
	return object{"type": "array", "minItems": 1, "items": object{"oneOf": []any{
		one([]string{"add", "replace", "test"}, "value"), one([]string{"move", "copy"}, "from"), one([]string{"remove"}),
	}}}
}
