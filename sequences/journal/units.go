package journal

import (
	"context"
	"database/sql"

	"makebreak/analyze"
)

// nameUnits writes beside all that was ever measured what its unit is. Later figures bring
// theirs along.
func nameUnits(conn *sql.Conn) error {
	for _, d := range analyze.Definitions() {
		if _, err := conn.ExecContext(context.Background(), "UPDATE point SET unit_of_measure = ? WHERE quantity = ?", d.Unit, string(d.Quantity)); err != nil {
			return err
		}
	}
	return nil
}
