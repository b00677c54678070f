package keep

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"sync"

	"groundline/course"
	"groundline/course/follow"
	"groundline/report"
)

// A ride may be worked out in a process of its own, which gets a [job] as JSON on its standard input and writes one
// [message] a line: how far it has read, and last what came of the ride. If it ends without that, it has died of the
// ride, and this process lives on.

// parcel is all that a ride is worked out from.
type parcel struct {
	Program string
	Edition int
	Files   []parcelFile
	Columns string
	Horse   string
	Plan    []byte // nil without a course
	Named   string // the plan's file, for its warnings
}

type parcelFile struct {
	Name, Path, SHA256 string
	Bytes              int64
}

// message is one line of what a process that works a ride out says.
type message struct {
	File string `json:",omitempty"` // this much of it is read
	Done int64  `json:",omitempty"`

	Last       bool   `json:",omitempty"`
	Why        string `json:",omitempty"` // the ride can't be worked out
	Unreadable bool   `json:",omitempty"` // it lies in the files
	Later      bool   `json:",omitempty"` // it lies neither in the files nor in what they hold
	OnPlan     int    `json:",omitempty"`
	JSON       []byte `json:",omitempty"`
	Record     []byte `json:",omitempty"`
	Worked     []byte `json:",omitempty"`
}

// maxSaid bounds what a process may say, in bytes: a day's ride takes some 50 MB.
const maxSaid = 256 << 20

// WorkApart works out the ride that a [Store] of another process describes on in, and writes what came of it to out.
func WorkApart(ctx context.Context, in io.Reader, out io.Writer) error {
	var p parcel
	if err := json.NewDecoder(in).Decode(&p); err != nil {
		return fmt.Errorf("expected a ride to work out: %w", err)
	}
	var mu sync.Mutex
	enc := json.NewEncoder(out)
	say := func(m message) error {
		mu.Lock()
		defer mu.Unlock()
		return enc.Encode(m)
	}
	b, err := p.build(ctx, nil, func(file string, done, _ int64) { _ = say(message{File: file, Done: done}) }, hooks{})
	if err == nil {
		err = b.pack(p.Program, p.Edition)
	}
	var unread unreadable
	var later notTheRides
	m := message{Last: true, OnPlan: b.onPlan, JSON: b.json, Record: b.record, Worked: b.worked}
	if err != nil {
		m = message{Last: true, Why: err.Error(), Unreadable: errors.As(err, &unread), Later: errors.As(err, &later)}
	}
	return say(m)
}

// diedError tells that the process that worked a ride out has died of it.
type diedError struct{ how string }

func (e *diedError) Error() string {
	return fmt.Sprintf("groundline ended while it worked this ride out (%s): it may be too long for this machine's memory; please report this", e.how)
}

// buildApart works a ride out in a process of its own.
func (p *parcel) buildApart(ctx context.Context, child func(context.Context) *exec.Cmd, progress func(file string, done, size int64)) (built, error) {
	in, err := json.Marshal(p)
	if err != nil {
		return built{}, err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	cmd := child(ctx)
	cmd.Stdin = bytes.NewReader(in)
	var said bytes.Buffer
	cmd.Stderr = &atMost{&said, 16 << 10}
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		return built{}, notTheRides{err}
	}
	var m message
	dec := json.NewDecoder(io.LimitReader(out, maxSaid))
	for err == nil && !m.Last {
		m = message{}
		if err = dec.Decode(&m); err == nil && !m.Last {
			progress(m.File, m.Done, 0)
		}
	}
	if err != nil {
		stop() // it may wait for what it says to be read
	}
	ended := cmd.Wait()
	switch {
	case err != nil || !m.Last:
		how := fmt.Sprint(ended)
		if first, _, _ := bytes.Cut(said.Bytes(), []byte("\n")); len(first) > 0 {
			how += ": " + cut(string(bytes.ToValidUTF8(first, []byte("?"))), 200)
		}
		return built{}, &diedError{how}
	case m.Later:
		return built{}, notTheRides{errors.New(m.Why)}
	case m.Unreadable:
		return built{}, unreadable{errors.New(m.Why)}
	case m.Why != "":
		return built{}, errors.New(m.Why)
	}
	b := built{onPlan: m.OnPlan, json: m.JSON, record: m.Record, worked: m.Worked}
	var rest restPart
	rows, ok := readParts(bytes.NewReader(b.worked), &rest)
	if !ok {
		return built{}, &diedError{"what it wrote can't be read"}
	}
	b.debrief = rest.debrief(rows)
	return b, nil
}

// atMost keeps the first bytes of what is written.
type atMost struct {
	to   *bytes.Buffer
	left int
}

func (a *atMost) Write(p []byte) (int, error) {
	n := min(len(p), a.left)
	a.left -= n
	a.to.Write(p[:n])
	return len(p), nil
}

// hooks stand for faults of the program in tests.
type hooks struct {
	broken func()
	spoil  func(*report.Debrief)
}

// planOf is the plan of a parcel, nil without a course; its ways are as given where they are known.
func (p *parcel) planOf(known *ways) (*ways, error) {
	if p.Plan == nil || known != nil {
		return known, nil
	}
	w := &ways{}
	var err error
	if w.plan, w.warnings, err = course.ReadPlan(p.Named, p.Plan); err != nil {
		return nil, err
	}
	w.ways = follow.WaysOf(w.plan)
	return w, nil
}
