//go:build !linux

package main

// boundMemory can't bound the memory of a process here; the reader's own limits hold.
func boundMemory(int64) {}

// machineMemory is not known here: that of a small machine.
func machineMemory() int64 { return 4 << 30 }
