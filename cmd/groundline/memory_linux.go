package main

import (
	"bytes"
	"os"
	"strconv"
	"strings"
	"syscall"
)

// boundMemory lets this process have no more than so many bytes, and be the first to go where the machine has none left.
// Both are a second fence: where they can't be set, the reader's own limits hold.
func boundMemory(most int64) {
	_ = syscall.Setrlimit(syscall.RLIMIT_DATA, &syscall.Rlimit{Cur: uint64(most), Max: uint64(most)})
	_ = os.WriteFile("/proc/self/oom_score_adj", []byte("1000"), 0)
}

// machineMemory is how many bytes there are for this process and its children, the least of what the machine has and what
// its control group allows (kernel.org, admin-guide/cgroup-v2 and cgroup-v1/memory).
func machineMemory() int64 {
	least := int64(8 << 30) // more is not asked for
	if data, err := os.ReadFile("/proc/meminfo"); err == nil {
		for line := range bytes.Lines(data) {
			if f := strings.Fields(string(line)); len(f) > 1 && f[0] == "MemTotal:" {
				if kB, err := strconv.ParseInt(f[1], 10, 64); err == nil {
					least = min(least, kB<<10)
				}
			}
		}
	}
	for _, name := range []string{"/sys/fs/cgroup/memory.max", "/sys/fs/cgroup/memory/memory.limit_in_bytes"} {
		if data, err := os.ReadFile(name); err == nil {
			if n, err := strconv.ParseInt(strings.TrimSpace(string(data)), 10, 64); err == nil && n > 0 {
				least = min(least, n)
			}
		}
	}
	var limit syscall.Rlimit
	if syscall.Getrlimit(syscall.RLIMIT_AS, &limit) == nil && limit.Cur < uint64(least) {
		least = int64(limit.Cur)
	}
	return least
}
