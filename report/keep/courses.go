package keep

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"groundline/course"
	"groundline/course/follow"
)

// Course is a course in its last version.
type Course struct {
	ID        int64
	Name      string // of its plan; "Course 7" where that has none
	VersionID int64
	Version   int // from 1
	ChangedAt time.Time
	Rides     int // over any of its versions
	PutAway   bool
}

// Version is one version of a course.
type Version struct {
	ID, CourseID int64
	Version      int // from 1
	Name         string
	MadeAt       time.Time
	Rides        int
	SHA256       string // of the plan as YAML
}

const courseQuery = `SELECT c.id, c.name, v.id, v.version, v.made_ms, (SELECT count(*) FROM ride WHERE course_id = c.id), c.away
	FROM course c JOIN course_version v ON v.course_id = c.id AND v.version = (SELECT max(version) FROM course_version WHERE course_id = c.id)`

func scanCourse(r row) (Course, error) {
	var c Course
	var madeMS int64
	err := r.Scan(&c.ID, &c.Name, &c.VersionID, &c.Version, &madeMS, &c.Rides, &c.PutAway)
	c.ChangedAt = fromMS(madeMS)
	return c, err
}

// Courses are all courses by name, those put away last.
func (s *Store) Courses(ctx context.Context) ([]Course, error) {
	rows, err := s.read.QueryContext(ctx, courseQuery+" ORDER BY c.away, c.folded, c.id")
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []Course
	for rows.Next() {
		c, err := scanCourse(rows)
		if err != nil {
			return nil, s.explain(err)
		}
		out = append(out, c)
	}
	return out, s.explain(rows.Err())
}

// Course is one course, or [ErrNotFound].
func (s *Store) Course(ctx context.Context, id int64) (Course, error) {
	c, err := scanCourse(s.read.QueryRowContext(ctx, courseQuery+" WHERE c.id = ?", id))
	return c, s.explain(err)
}

const versionQuery = `SELECT v.id, v.course_id, v.version, v.name, v.made_ms, v.sha256, (SELECT count(*) FROM ride WHERE version_id = v.id) FROM course_version v`

// Versions are the versions of a course, the last first.
func (s *Store) Versions(ctx context.Context, courseID int64) ([]Version, error) {
	rows, err := s.read.QueryContext(ctx, versionQuery+" WHERE v.course_id = ? ORDER BY v.version DESC", courseID)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []Version
	for rows.Next() {
		var v Version
		var madeMS int64
		if err := rows.Scan(&v.ID, &v.CourseID, &v.Version, &v.Name, &madeMS, &v.SHA256, &v.Rides); err != nil {
			return nil, s.explain(err)
		}
		v.MadeAt = fromMS(madeMS)
		out = append(out, v)
	}
	if err := rows.Err(); err != nil {
		return nil, s.explain(err)
	}
	if out == nil {
		return nil, ErrNotFound
	}
	return out, nil
}

// SaveCourse keeps a plan as the next version of a course, or as a new course with id 0. A plan that is the course's
// last version already makes no new one. A version that no ride is of is written over: versions are for
// rides, not for each stroke of an editor.
func (s *Store) SaveCourse(ctx context.Context, id int64, plan *course.Plan) (Course, error) {
	return s.saveCourse(ctx, id, "", plan)
}

// SaveCourseOver is [Store.SaveCourse] for who began with the version whose plan has that SHA-256 (see [Version]). Where
// the course's last version is another by now, nothing is kept and the error is a *[ChangedError].
func (s *Store) SaveCourseOver(ctx context.Context, id int64, base string, plan *course.Plan) (Course, error) {
	return s.saveCourse(ctx, id, base, plan)
}

// ChangedError tells that somebody else saved a course meanwhile.
type ChangedError struct{ Now Course }

func (e *ChangedError) Error() string {
	return fmt.Sprintf("%s was saved by somebody else meanwhile, as version %d", e.Now.Name, e.Now.Version)
}

// saveCourse keeps a plan over the version of that SHA-256, whichever it is for "".
func (s *Store) saveCourse(ctx context.Context, id int64, base string, plan *course.Plan) (Course, error) {
	text := course.WritePlan(plan)
	if _, _, err := course.ReadPlan("plan", text); err != nil {
		return Course{}, err
	}
	if err := line("name", strings.TrimSpace(plan.Name), maxPlanName); err != nil {
		return Course{}, err
	}
	sum := sha256.Sum256(text)
	hash := hex.EncodeToString(sum[:])
	var out Course
	err := s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		var last Course
		if id == 0 {
			res, err := tx.ExecContext(ctx, "INSERT INTO course (name, folded, away) VALUES ('', '', 0)")
			if err != nil {
				return err
			}
			if id, err = res.LastInsertId(); err != nil {
				return err
			}
		} else {
			var err error
			if last, err = scanCourse(tx.QueryRowContext(ctx, courseQuery+" WHERE c.id = ?", id)); err != nil {
				return err
			}
		}
		name := planTitle(plan, id)
		var lastHash string
		var ridden int
		if last.VersionID != 0 {
			if err := tx.QueryRowContext(ctx, "SELECT sha256, (SELECT count(*) FROM ride WHERE version_id = course_version.id) FROM course_version WHERE id = ?", last.VersionID).Scan(&lastHash, &ridden); err != nil {
				return err
			}
		}
		if base != "" && lastHash != base && lastHash != hash {
			return &ChangedError{last}
		}
		var err error
		switch {
		case lastHash == hash:
		case last.VersionID != 0 && ridden == 0:
			_, err = tx.ExecContext(ctx, "UPDATE course_version SET name = ?, folded = ?, plan = ?, sha256 = ?, made_ms = ? WHERE id = ?",
				name, fold(name), text, hash, ms(s.now()), last.VersionID)
		default:
			_, err = tx.ExecContext(ctx, "INSERT INTO course_version (course_id, version, name, folded, plan, sha256, made_ms) VALUES (?, ?, ?, ?, ?, ?, ?)",
				id, last.Version+1, name, fold(name), text, hash, ms(s.now()))
		}
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "UPDATE course SET name = ?, folded = ? WHERE id = ?", name, fold(name), id); err != nil {
			return err
		}
		out, err = scanCourse(tx.QueryRowContext(ctx, courseQuery+" WHERE c.id = ?", id))
		return err
	})
	if err != nil {
		return Course{}, err
	}
	s.bell.ring()
	return out, nil
}

const maxPlanName = 1000 // bytes

// planTitle is what a course's version is called.
func planTitle(plan *course.Plan, courseID int64) string {
	if name := strings.TrimSpace(plan.Name); name != "" {
		return name
	}
	return fmt.Sprintf("Course %d", courseID)
}

// Plan is the plan of a version, with what should be looked at, or [ErrNotFound].
func (s *Store) Plan(ctx context.Context, versionID int64) (*course.Plan, []course.Warning, error) {
	text, v, err := s.planText(ctx, versionID)
	if err != nil {
		return nil, nil, err
	}
	return course.ReadPlan(planName(v), text)
}

// planName is what errors and warnings call a version's plan.
func planName(v Version) string { return fmt.Sprintf("%s, version %d", v.Name, v.Version) }

func (s *Store) planText(ctx context.Context, versionID int64) ([]byte, Version, error) {
	v := Version{ID: versionID}
	var text []byte
	err := s.read.QueryRowContext(ctx, "SELECT course_id, version, name, sha256, plan FROM course_version WHERE id = ?", versionID).
		Scan(&v.CourseID, &v.Version, &v.Name, &v.SHA256, &text)
	return bytes.Clone(text), v, s.explain(err)
}

// PutAway hides a course from choices, or brings it back.
func (s *Store) PutAway(ctx context.Context, id int64, away bool) error {
	err := s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		return one(tx.ExecContext(ctx, "UPDATE course SET away = ? WHERE id = ?", away, id))
	})
	if err == nil {
		s.bell.ring()
	}
	return err
}

// RemoveCourse removes a course with all its versions; where rides are of it, it is an [*InUseError].
func (s *Store) RemoveCourse(ctx context.Context, id int64) error {
	err := s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		c, err := scanCourse(tx.QueryRowContext(ctx, courseQuery+" WHERE c.id = ?", id))
		if err != nil {
			return err
		}
		if c.Rides > 0 {
			return &InUseError{What: c.Name, Rides: c.Rides, Hint: "put it away instead"}
		}
		return one(tx.ExecContext(ctx, "DELETE FROM course WHERE id = ?", id))
	})
	if err == nil {
		s.bell.ring()
	}
	return err
}

// TakePlan gives the course version of a plan that somebody has ridden: the one with this plan where there is one, else a new
// version of the course of its name, else a new course. made tells whether it is new.
func (s *Store) TakePlan(ctx context.Context, plan *course.Plan) (c Course, versionID int64, made bool, err error) {
	sum := sha256.Sum256(course.WritePlan(plan))
	var id int64
	err = s.read.QueryRowContext(ctx, "SELECT v.id, v.course_id FROM course_version v JOIN course c ON c.id = v.course_id WHERE v.sha256 = ? ORDER BY c.away, v.id DESC LIMIT 1",
		hex.EncodeToString(sum[:])).Scan(&versionID, &id)
	if err == nil {
		c, err = s.Course(ctx, id)
		return c, versionID, false, err
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return Course{}, 0, false, s.explain(err)
	}
	if name := strings.TrimSpace(plan.Name); name != "" {
		err = s.read.QueryRowContext(ctx, "SELECT id FROM course WHERE folded = ? ORDER BY away, id DESC LIMIT 1", fold(name)).Scan(&id)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return Course{}, 0, false, s.explain(err)
		}
	}
	c, err = s.SaveCourse(ctx, id, plan)
	return c, c.VersionID, true, err
}

// waysOf remembers plans with their ways, which take longer to work out than many a ride.
type waysOf struct {
	mu    sync.Mutex
	known map[int64]*ways
}

type ways struct {
	sha256   string
	plan     *course.Plan
	warnings []course.Warning
	ways     *follow.Ways
}

// mostWays bounds what is remembered: a course's take some kilobytes, and few are ridden in one week.
const mostWays = 64

// planWays is a version's plan with its ways.
func (s *Store) planWays(ctx context.Context, versionID int64) (*ways, error) {
	text, v, err := s.planText(ctx, versionID)
	if err != nil {
		return nil, err
	}
	s.ways.mu.Lock()
	w := s.ways.known[versionID]
	s.ways.mu.Unlock()
	if w != nil && w.sha256 == v.SHA256 {
		return w, nil
	}
	w = &ways{sha256: v.SHA256}
	if w.plan, w.warnings, err = course.ReadPlan(planName(v), text); err != nil {
		return nil, err
	}
	w.ways = follow.WaysOf(w.plan)
	s.ways.mu.Lock()
	defer s.ways.mu.Unlock()
	if len(s.ways.known) >= mostWays {
		clear(s.ways.known)
	}
	s.ways.known[versionID] = w
	return w, nil
}
