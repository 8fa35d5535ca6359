package whom

import (
	"proofload/specdata"
	"proofload/specdata/library"
)

// ByVIN lists the ids of the vehicles whose pattern a vehicle identification number
// fits, in order; there are none where it fits no vehicle of the library. The error
// is a *Wrong: the number is malformed, or its check digit is false.
func ByVIN(l library.Library, vin string) ([]string, error) {
	if err := specdata.CheckVIN(vin); err != nil {
		return nil, wrong("vin", "vin %q: %v", specdata.Shorten(vin), err)
	}
	var ids []string
	var mistyped error
	for e := range l.All(specdata.KindVehicle) {
		v, ok := e.Record.(*specdata.Vehicle)
		if !ok || v.VIN == nil {
			continue
		}
		if _, fits := specdata.FitsVINPattern(vin, v.VIN.Pattern); !fits {
			continue
		}
		if v.VIN.CheckDigit {
			digit, arithmetic, err := specdata.VINCheckDigit(vin)
			if err == nil && digit != vin[8] {
				mistyped = wrong("vin", "vin %q: its check digit, position 9, is %c but %c belongs there (%s); read the number again", vin, vin[8], digit, arithmetic)
				continue
			}
		}
		ids = append(ids, v.ID)
	}
	if len(ids) > 0 {
		return ids, nil
	}
	return nil, mistyped
}
