package score

import "math"

// Pair pairs two lists of instants, each in time order, so that no pair crosses another and
// no two instants further apart than windowS are paired: as many pairs as can be,
// and among these the least sum of distances. It returns index pairs (into a, into
// b) in order. NaN pairs with nothing. Time and space are len(a) times len(b).
func Pair(a, b []float64, windowS float64) [][2]int {
	n, m := len(a), len(b)
	// An unpaired instant costs more than any sum of distances can, so the number of pairs comes first.
	skip := windowS*float64(n+m) + 1
	cost := make([][]float64, n+1)
	for i := range cost {
		cost[i] = make([]float64, m+1)
	}
	for i := n; i >= 0; i-- {
		for j := m; j >= 0; j-- {
			if i == n && j == m {
				continue
			}
			best := math.Inf(1)
			if i < n {
				best = min(best, skip+cost[i+1][j])
			}
			if j < m {
				best = min(best, skip+cost[i][j+1])
			}
			if i < n && j < m {
				if d := math.Abs(a[i] - b[j]); d <= windowS {
					best = min(best, d+cost[i+1][j+1])
				}
			}
			cost[i][j] = best
		}
	}
	var pairs [][2]int
	for i, j := 0, 0; i < n && j < m; {
		d := math.Abs(a[i] - b[j])
		switch {
		case d <= windowS && cost[i][j] == d+cost[i+1][j+1]:
			pairs = append(pairs, [2]int{i, j})
			i, j = i+1, j+1
		case cost[i][j] == skip+cost[i+1][j]:
			i++
		default:
			j++
		}
	}
	return pairs
}
