package specdata

import (
	"fmt"
	"strings"
)

// VINLength is the number of characters of a vehicle identification number
// (ISO 3779; 49 CFR 565.13).
const VINLength = 17

// vinValues holds the value a character counts in the check digit, -1 for the
// characters no number has: I, O and Q (49 CFR 565.15, table III).
var vinValues = func() (values [256]int8) {
	for i := range values {
		values[i] = -1
	}
	for i := range 10 {
		values['0'+i] = int8(i)
	}
	for i, c := range "ABCDEFGH" {
		values[c] = int8(1 + i)
	}
	for i, c := range "JKLMN" {
		values[c] = int8(1 + i)
	}
	values['P'], values['R'] = 7, 9
	for i, c := range "STUVWXYZ" {
		values[c] = int8(2 + i)
	}
	return values
}()

// vinWeights are the weights of the positions; position 9 is the check digit
// itself (49 CFR 565.15, table IV).
var vinWeights = [VINLength]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}

// CheckVINPattern says what is wrong with the form of a pattern, or nil: 17
// characters, each a digit, a capital letter other than I, O and Q, or * for any.
// Where the market uses the check digit, position 9 is a digit, X or *.
func CheckVINPattern(pattern string, checkDigit bool) error {
	if err := checkVINForm(pattern, "*"); err != nil {
		return err
	}
	if c := pattern[8]; checkDigit && c != '*' && c != 'X' && (c < '0' || c > '9') {
		return fmt.Errorf("position 9 is %q, but the check digit of 49 CFR 565 stands there; write 0 to 9, X or *", c)
	}
	return nil
}

// CheckVIN says what is wrong with the form of a number, or nil.
func CheckVIN(vin string) error { return checkVINForm(vin, "") }

func checkVINForm(s, also string) error {
	if n := len([]rune(s)); n != VINLength {
		return fmt.Errorf("it has %d characters, a vehicle identification number has %d", n, VINLength)
	}
	for i, c := range s {
		if c < 0x80 && (vinValues[c] >= 0 || strings.ContainsRune(also, c)) {
			continue
		}
		switch c {
		case 'I', 'O', 'Q':
			return fmt.Errorf("position %d is %q; I, O and Q are not used because they read like 1 and 0", i+1, c)
		}
		if 'a' <= c && c <= 'z' {
			return fmt.Errorf("position %d is %q; write capitals", i+1, c)
		}
		return fmt.Errorf("position %d is %q; allowed: 0 to 9 and A to Z without I, O and Q", i+1, c)
	}
	return nil
}

// VINCheckDigit computes the character that belongs in position 9 of a number:
// the sum of value times weight modulo 11, with X for 10 (49 CFR 565.15). The
// arithmetic is the sum as people write it down. The error is CheckVIN's.
func VINCheckDigit(vin string) (digit byte, arithmetic string, err error) {
	if err := CheckVIN(vin); err != nil {
		return 0, "", err
	}
	sum := 0
	for i := range VINLength {
		sum += int(vinValues[vin[i]]) * vinWeights[i]
	}
	digit = "0123456789X"[sum%11]
	return digit, fmt.Sprintf("sum of value × weight = %d; %d mod 11 = %d, written %c", sum, sum, sum%11, digit), nil
}

// FitsVINPattern reports whether a number fits a pattern; position is the first
// one, from 1, where it does not.
func FitsVINPattern(vin, pattern string) (position int, fits bool) {
	if len(vin) != VINLength || len(pattern) != VINLength {
		return 0, false
	}
	for i := range VINLength {
		if pattern[i] != '*' && pattern[i] != vin[i] {
			return i + 1, false
		}
	}
	return 0, true
}
