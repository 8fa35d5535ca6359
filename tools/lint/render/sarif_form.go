package render

// The parts of SARIF 2.1.0 that this program writes; section numbers are those of
// the OASIS standard.
type (
	sarifLog struct { // 3.13
		Schema  string     `json:"$schema"`
		Version string     `json:"version"`
		Runs    []sarifRun `json:"runs"`
	}
	sarifRun struct { // 3.14
		Tool        sarifTool         `json:"tool"`
		Invocations []sarifInvocation `json:"invocations"`
		ColumnKind  string            `json:"columnKind"`
		Results     []sarifResult     `json:"results"`
		Properties  map[string]any    `json:"properties"`
	}
	sarifTool struct { // 3.18
		Driver sarifDriver `json:"driver"`
	}
	sarifDriver struct { // 3.19
		Name    string      `json:"name"`
		Version string      `json:"version"`
		Rules   []sarifRule `json:"rules"`
	}
	sarifInvocation struct { // 3.20
		ExecutionSuccessful bool `json:"executionSuccessful"`
	}
	sarifRule struct { // 3.49
		ID                   string             `json:"id"`
		ShortDescription     sarifText          `json:"shortDescription"`
		FullDescription      sarifText          `json:"fullDescription"`
		Help                 sarifText          `json:"help"`
		DefaultConfiguration sarifConfiguration `json:"defaultConfiguration"`
		Properties           map[string]any     `json:"properties"`
	}
	sarifConfiguration struct { // 3.50
		Level string `json:"level"`
	}
	sarifResult struct { // 3.27
		RuleID              string             `json:"ruleId"`
		RuleIndex           int                `json:"ruleIndex"`
		Level               string             `json:"level"`
		Message             sarifText          `json:"message"`
		Locations           []sarifLocation    `json:"locations"`
		RelatedLocations    []sarifLocation    `json:"relatedLocations,omitempty"`
		PartialFingerprints map[string]string  `json:"partialFingerprints"`
		BaselineState       string             `json:"baselineState,omitempty"`
		Suppressions        []sarifSuppression `json:"suppressions,omitempty"`
		Fixes               []sarifFix         `json:"fixes,omitempty"`
		Properties          map[string]any     `json:"properties"`
	}
	sarifLocation struct { // 3.28
		ID       int            `json:"id,omitempty"`
		Physical *sarifPhysical `json:"physicalLocation,omitempty"`
		Logical  []sarifLogical `json:"logicalLocations,omitempty"`
		Message  *sarifText     `json:"message,omitempty"`
	}
	sarifPhysical struct { // 3.29
		Artifact sarifArtifact `json:"artifactLocation"`
		Region   *sarifRegion  `json:"region,omitempty"`
	}
	sarifArtifact struct { // 3.4
		URI string `json:"uri"`
	}
	sarifRegion struct { // 3.30
		StartLine   int `json:"startLine"`
		StartColumn int `json:"startColumn,omitempty"`
		EndLine     int `json:"endLine,omitempty"`
		EndColumn   int `json:"endColumn,omitempty"`
	}
	sarifLogical struct { // 3.33
		FullyQualifiedName string `json:"fullyQualifiedName"`
		Kind               string `json:"kind"`
	}
	sarifSuppression struct { // 3.35
		Kind          string `json:"kind"`
		Status        string `json:"status"`
		Justification string `json:"justification"`
	}
	sarifFix struct { // 3.55
		Description sarifText     `json:"description"`
		Changes     []sarifChange `json:"artifactChanges"`
	}
	sarifChange struct { // 3.56
		Artifact     sarifArtifact      `json:"artifactLocation"`
		Replacements []sarifReplacement `json:"replacements"`
	}
	sarifReplacement struct { // 3.57
		Deleted  sarifRegion `json:"deletedRegion"`
		Inserted sarifText   `json:"insertedContent"`
	}
	sarifText struct { // 3.11, 3.12
		Text     string `json:"text"`
		Markdown string `json:"markdown,omitempty"`
	}
)
