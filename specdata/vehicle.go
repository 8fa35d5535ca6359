package specdata

// Vehicle is what applicability can refer to.
type Vehicle struct {
	Head
	Make  string `json:"make"`
	Model string `json:"model"`
	Built *Built `json:"built"`
	// Options are closed vocabularies: every value a key may take on this vehicle
	// ("rear_brake": ["disc", "drum"]).
	Options map[string][]string `json:"options,omitempty"`
	// Markets lists ISO 3166-1 alpha-2 codes.
	Markets []string `json:"markets,omitempty"`
	VIN     *VIN     `json:"vin,omitempty"`
	// MassLaden is the greatest permitted mass, for choosing jacks and stands.
	MassLaden Quantity  `json:"mass_laden,omitzero"`
	Source    *Citation `json:"source,omitempty"`
}

// VIN describes the vehicle identification numbers of a vehicle (ISO 3779).
type VIN struct {
	// Pattern is 17 characters with * for any.
	Pattern string `json:"pattern"`
	// CheckDigit says that the market uses the check digit of 49 CFR 565 in position 9.
	CheckDigit bool `json:"check_digit,omitempty"`
	// Example is one invented number that fits.
	Example string `json:"example,omitempty"`
}

// Side of the vehicle, seen from the driver's seat looking forward.
type Side string

// The sides. Each means one joint on either side, alike; Centre means on neither.
const (
	SideLeft   Side = "left"
	SideRight  Side = "right"
	SideEach   Side = "each"
	SideCentre Side = "centre"
)

// Applies is one clause of applicability. A record applies where any clause holds.
type Applies struct {
	// Vehicle is a vehicle's id.
	Vehicle string `json:"vehicle"`
	// Where restricts options: every key named must have one of the values.
	Where map[string][]string `json:"where,omitempty"`
	// Built restricts the build range.
	Built *Built `json:"built,omitempty"`
	// Side is where on the vehicle; absent means each.
	Side Side `json:"side,omitempty"`
}
