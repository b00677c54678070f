package table

import "groundline/report/paths"

// Shard is a part of the rides, I of N, I from 1.
type Shard struct{ I, N int }

// Take is the shard's rides: every Nth of the sorted rides, so that the shards are about equally long and each ride is in
// exactly one.
func (s Shard) Take(rides []paths.Ride) []paths.Ride {
	if s.N <= 1 {
		return rides
	}
	var out []paths.Ride
	for i := s.I - 1; i < len(rides); i += s.N {
		out = append(out, rides[i])
	}
	return out
}
