package daemon

import (
	"context"
	"errors"
	"time"
)

// flushWithin bounds the wait for a disk at the end.
const flushWithin = 3 * time.Second

// Close closes every valve, waits for the reports that confirm it, says
// `disconnected`, and lets go of everything. cause is returned with what went wrong
// on the way. The caller is the loop's goroutine.
func (d *Daemon) Close(cause error) error {
	d.notify.say("STOPPING=1")
	d.closing()
	close(d.ended)
	d.show()
	if d.publisher != nil {
		d.publisher.Stop()
	}
	ctx, cancel := context.WithTimeout(context.Background(), closeWithin)
	defer cancel()
	d.field.Close(ctx)
	if d.letting != nil { // a link that a change of broker ended
		select {
		case <-d.letting:
		case <-ctx.Done():
		}
	}
	return errors.Join(cause, d.letGo())
}

// letGo releases all that Open took, also after it failed half-way.
func (d *Daemon) letGo() error {
	var errs []error
	if d.socket != nil {
		errs = append(errs, d.socket.Close())
	}
	if d.page != nil {
		errs = append(errs, d.page.close())
	}
	if d.recorder != nil {
		d.recorder.close()
		select {
		case <-d.recorder.done:
		case <-time.After(flushWithin):
			errs = append(errs, errors.New("write the last records: the ledger's disk does not answer"))
		}
	}
	if d.keeper != nil && d.room != nil {
		d.keeper.close(d)
	}
	d.tracer.close(d.now)
	d.card.close(d)
	errs = append(errs, d.files.close())
	if d.lock != nil {
		errs = append(errs, d.lock.Close())
	}
	return errors.Join(errs...)
}
