package keep

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
)

// Marks gives each horse with ready rides a mark that changes whenever what [Store.Told] gives for it does, so that who
// works that out may keep it: rides kept or removed, of another horse or course, worked out anew.
func (s *Store) Marks(ctx context.Context) (map[int64]string, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT horse_id, group_concat(id || ' ' || edition || ' ' || coalesce(version_id, 0) || ' ' || program, char(10) ORDER BY id)
		FROM ride WHERE horse_id IS NOT NULL AND state = 'ready' GROUP BY horse_id`)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	out := map[int64]string{}
	for rows.Next() {
		var horse int64
		var rides string
		if err := rows.Scan(&horse, &rides); err != nil {
			return nil, s.explain(err)
		}
		sum := sha256.Sum256([]byte(rides))
		out[horse] = hex.EncodeToString(sum[:12])
	}
	return out, s.explain(rows.Err())
}
