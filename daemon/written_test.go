package daemon

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// stuckDisk is a ledger that writes when it is told to.
type stuckDisk struct{ begun, free chan struct{} }

func (d *stuckDisk) Append(...*zones.Record) error {
	d.begun <- struct{}{}
	<-d.free
	return nil
}

// Whoever waits for the disk waits for all that was put before, also when more was put
// while the disk was busy.
func TestWrittenWaitsForTheDisk(t *testing.T) {
	d := &stuckDisk{make(chan struct{}), make(chan struct{})}
	r := newRecorder(d)
	<-r.written() // nothing was put
	r.put(&zones.Record{Seq: 1})
	<-d.begun
	alone := r.written()
	select {
	case <-alone:
		require.Fail(t, "the first record is on its way, and none waits behind it")
	default:
	}
	r.put(&zones.Record{Seq: 2})
	written := r.written()
	d.free <- struct{}{}
	<-d.begun
	select {
	case <-written:
		require.Fail(t, "the second record is not written yet")
	default:
	}
	d.free <- struct{}{}
	<-written
	<-r.written()
	r.close()
	<-r.done
}
