//go:build !unix

package serve

import (
	"testing"
	"time"
)

func processorTime(*testing.T) time.Duration { return time.Duration(time.Now().UnixNano()) }
