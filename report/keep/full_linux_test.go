package keep

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// fillDisk, in a mount namespace of its own, keeps rides on a small disk until it is full.
func fillDisk(dir string) error {
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=6m"); err != nil {
		fmt.Println("can't mount:", err)
		return nil
	}
	ctx := context.Background()
	s, err := Open(ctx, filepath.Join(dir, "store"), Options{})
	if err != nil {
		return err
	}
	// What can be worked out anew.
	if err := os.WriteFile(s.workedFile(1), make([]byte, 300_000), 0o600); err != nil {
		return err
	}
	kept := map[int64]string{}
	var full *FullError
	// Large files fill the disk in Receive, small ones, with the last pages left, in the database.
	for _, size := range []int{200_000, 20_000, 1000, 10} {
		for i := 0; ; i++ {
			if i == 100_000 {
				return errors.New("the disk does not get full")
			}
			id, sum, err := keepOne(ctx, s, bytes.Repeat(fmt.Appendf(nil, "%d of %d;", i, size), size/8))
			if err != nil {
				if !errors.As(err, &full) || !strings.Contains(err.Error(), "no room left on the disk: free some space") {
					return fmt.Errorf("not told as it should: %w", err)
				}
				break
			}
			kept[id] = sum
		}
	}
	if err := holds(ctx, s, kept); err != nil {
		return err
	}
	// A full disk is read all the same, by another process too.
	other, err := Open(ctx, s.dir, Options{})
	switch {
	case errors.As(err, &full): // it has not even room for its lock
	case err != nil:
		return err
	default:
		if err := holds(ctx, other, kept); err != nil {
			return err
		}
		other.Close()
	}
	// Rides can be removed, and with some room all goes on.
	list, _, _, err := s.Rides(ctx, Filter{})
	if err != nil {
		return err
	}
	for _, r := range list[len(list)/2:] {
		if err := s.RemoveRide(ctx, r.ID); err != nil {
			return fmt.Errorf("to make room: %w", err)
		}
		delete(kept, r.ID)
	}
	id, sum, err := keepOne(ctx, s, []byte("after"))
	if err != nil {
		return fmt.Errorf("with room again: %w", err)
	}
	kept[id] = sum
	if err := holds(ctx, s, kept); err != nil {
		return err
	}
	if err := s.Close(); err != nil {
		return err
	}
	// With not a byte left it is told too, and afterwards all is there.
	fill := filepath.Join(dir, "fill")
	if err := os.WriteFile(fill, make([]byte, 8<<20), 0o600); !errors.Is(err, syscall.ENOSPC) {
		return fmt.Errorf("the disk is not full: %w", err)
	}
	if _, err := Open(ctx, s.dir, Options{}); !errors.As(err, &full) {
		return fmt.Errorf("not told as it should: %w", err)
	}
	if err := os.Remove(fill); err != nil {
		return err
	}
	if s, err = Open(ctx, filepath.Join(dir, "store"), Options{}); err != nil {
		return err
	}
	if err := holds(ctx, s, kept); err != nil {
		return err
	}
	if err := os.WriteFile(fill, make([]byte, 8<<20), 0o600); !errors.Is(err, syscall.ENOSPC) {
		return fmt.Errorf("the disk is not full: %w", err)
	}
	err = s.Export(ctx, filepath.Join(dir, "everything"))
	if !errors.As(err, &full) || !full.Outside || !strings.Contains(err.Error(), "name a folder on another disk") {
		return fmt.Errorf("an export that has no room: %w", err)
	}
	fmt.Println("done", len(kept))
	return s.Close()
}

func keepOne(ctx context.Context, s *Store, data []byte) (int64, string, error) {
	r, err := s.Receive(ctx, "a.csv", bytes.NewReader(data), 1<<20)
	if err != nil {
		return 0, "", err
	}
	defer r.Discard()
	id, _, err := s.Keep(ctx, []*Received{r}, About{})
	return id, r.SHA256, err
}

// holds tells whether a store holds these rides and no other.
func holds(ctx context.Context, s *Store, kept map[int64]string) error {
	n := 0
	err := each(ctx, s.read, "SELECT ride_id, sha256, bytes FROM file", func(r row) error {
		var id, size int64
		var sum string
		if err := r.Scan(&id, &sum, &size); err != nil {
			return err
		}
		if kept[id] != sum {
			return fmt.Errorf("ride %d was not acknowledged", id)
		}
		n++
		f, err := s.OpenFile(ctx, sum)
		if err != nil {
			return err
		}
		defer f.Close()
		info, err := f.Stat()
		if err != nil || info.Size() != size {
			return fmt.Errorf("ride %d: not whole: %w", id, err)
		}
		return nil
	})
	if err == nil && n != len(kept) {
		err = fmt.Errorf("%d rides, expected %d", n, len(kept))
	}
	return err
}

// A full disk is told, and what was kept before is whole.
func TestDiskFull(t *testing.T) {
	c := process(t, "full", t.TempDir())
	var out bytes.Buffer
	c.Stdout = &out
	c.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNS}
	if os.Getuid() != 0 {
		c.SysProcAttr.Cloneflags |= syscall.CLONE_NEWUSER
		c.SysProcAttr.UidMappings = []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}}
	}
	if err := c.Start(); err != nil {
		t.Skip("no small disk can be mounted here:", err)
	}
	require.NoError(t, c.Wait(), out.String())
	if strings.HasPrefix(out.String(), "can't mount") {
		t.Skip("no small disk can be mounted here:", out.String())
	}
	require.Contains(t, out.String(), "done")
	t.Log(out.String())
}
