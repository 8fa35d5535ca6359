package catalog

import (
	"context"

	"proofload/server/ask"
)

// VehiclesOfVIN returns the ids of the vehicles that a vehicle identification number
// fits, at least one. The error is InvalidArgument where it is no such number or its
// check digit is wrong, and RecordNotFound where it fits none.
func (c *Catalog) VehiclesOfVIN(ctx context.Context, vin string) ([]string, error) {
	if err := (Wanted{VIN: vin, Place: "any"}).check(); err != nil {
		return nil, err
	}
	position, err := c.Position(ctx, ask.Newest())
	if err != nil {
		return nil, err
	}
	return byVIN(c.Follower.At(ctx, position), vin)
}
