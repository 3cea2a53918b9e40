//go:build linux

package power

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sys/unix"

	"rillgate/daemon/broker"
)

// Names in the rig's directory.
const (
	fuseMount  = "device" // the file system in user space, whose one file is the card
	cardMount  = "card"   // the ext4 on it
	imageMount = "image"
	imageName  = "image.img"
	bookName   = "facts"
	stateName  = "state"
)

// cardSize is that of the card, in bytes.
const cardSize = 32 << 20

// Case is one campaign of cuts.
type Case struct {
	Dir    string // an empty directory, in memory if possible
	Images int
	Each   int    // images of one moment
	Late   int    // flushes by which the card lies; 0 = it is honest
	Mount  string // options of the mount
	NoSync bool   // the daemon's syncs do nothing at all
	Seed   uint64
}

// Result is what a campaign came to.
type Result struct {
	Images, Moments, Lives int
	Bad                    int // images with violations
	Violations             []string
	Kinds                  map[string]int
	Lost                   int // images that miss facts
	Unseen                 int // of those, the ones where no loss was noticed
	Seen                   int // images with a loss that was noticed: budgets count as spent
	Hurt                   int // images with a loss, noticed or not
	Watered                int // images on which the daemon watered again
	Repaired, Dead         int // file systems that needed repair, or could not be mounted even so
	Tries                  int // starts that the rig's broker spoiled, and that were done again
	Writes, Flushes        int
	Unflushed              int           // writes that were not durable, over all moments
	Facts                  int64         // bytes of them
	Room                   time.Duration // the room's time
}

const violationsShown = 20

func (r *Result) add(n int, v *Verdict) {
	r.Images++
	r.Repaired += one(v.Repaired)
	r.Dead += one(v.Dead != "")
	r.Seen += one(v.Seen)
	r.Watered += one(v.Watered)
	r.Lost += one(len(v.Lost) > 0)
	r.Hurt += one(len(v.Lost) > 0 || v.Seen)
	r.Unseen += one(len(v.Lost) > 0 && !v.Seen)
	if len(v.Violations) == 0 {
		return
	}
	r.Bad++
	r.Kinds[kinds(v.Violations[:1])]++
	if len(r.Violations) < violationsShown {
		r.Violations = append(r.Violations, fmt.Sprintf("image %d: %v", n, v.Violations))
	}
}

func one(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// rig is a campaign under way.
type rig struct {
	Case
	card   *card
	server *server
	dice   *rand.Rand
	work   *workProcess
	result Result
	killed time.Duration // the room's time of the last kill
}

// runCase cuts and judges. It must have a mount namespace of its own, which takes away
// what it mounts. The card's file system is mounted in another one, the working
// daemon's: a process that ended with both would wait for itself for ever, since the
// kernel syncs the one before it closes the way to the other.
func runCase(ctx context.Context, c Case) (*Result, error) {
	g := &rig{Case: c, card: newCard(cardSize), dice: rand.New(rand.NewPCG(c.Seed, 1)), result: Result{Kinds: map[string]int{}}}
	g.card.told = func() int64 { return toldSoFar(g.path(bookName)) }
	if err := g.prepare(); err != nil {
		return nil, err
	}
	err := g.cuts(ctx)
	if g.work != nil {
		g.work.kill()
	}
	g.result.Writes, g.result.Flushes = g.card.count()
	g.result.Facts = toldSoFar(g.path(bookName))
	return &g.result, errors.Join(err, g.clear())
}

func (g *rig) path(name string) string { return filepath.Join(g.Dir, name) }

// prepare puts the card together, with a file system on it.
func (g *rig) prepare() (err error) {
	for _, name := range []string{fuseMount, cardMount, imageMount} {
		if err := os.Mkdir(g.path(name), 0o755); err != nil {
			return fmt.Errorf("prepare the rig: %w", err)
		}
	}
	if err := os.WriteFile(g.path(bookName), nil, 0o600); err != nil {
		return fmt.Errorf("prepare the rig: %w", err)
	}
	if g.server, err = serveCard(g.card, g.path(fuseMount)); err != nil {
		return err
	}
	file := filepath.Join(g.path(fuseMount), fileName)
	if err := format(file); err != nil {
		return err
	}
	g.card.flush() // the empty file system is there before the card begins to lie
	g.card.lie(g.Late)
	return nil
}

// clear takes the card apart.
func (g *rig) clear() error {
	if err := unix.Unmount(g.path(fuseMount), unix.MNT_DETACH); err != nil {
		return fmt.Errorf("take the card apart: %w", err)
	}
	return nil
}

// Paces of the campaign.
const (
	livesEvery  = 12               // moments in one life of the daemon
	killsApart  = 11 * time.Minute // of the room's time, so that no crash loop is seen
	springsIn   = 60 * time.Second // a trap must spring
	flushesMost = 12               // until a trap springs
	writesMost  = 60
	kernelsMost = 8
)

// cuts takes moment after moment until there are enough images.
func (g *rig) cuts(ctx context.Context) error {
	for g.result.Images < g.Images {
		flushes := g.dice.IntN(2) == 0 && !g.NoSync && g.Mount == "" // else there are few, or none
		most := writesMost
		switch {
		case flushes:
			most = flushesMost
		case g.NoSync: // what the kernel writes by itself, every few seconds
			most = kernelsMost
		}
		sprung := g.card.arm(flushes, 1+g.dice.IntN(most))
		if g.result.Moments%livesEvery == 0 { // now and then the start itself is cut
			if err := g.nextLife(); err != nil {
				return err
			}
		}
		m, err := g.await(ctx, sprung)
		if err != nil {
			return err
		}
		g.result.Moments++
		g.result.Unflushed += len(m.log)
		if err := g.work.hold(func() error { return g.judgeMoment(ctx, m) }); err != nil {
			return err
		}
	}
	return nil
}

func (g *rig) await(ctx context.Context, sprung <-chan *moment) (*moment, error) {
	limit := time.NewTimer(springsIn)
	defer limit.Stop()
	select {
	case m := <-sprung:
		return m, nil
	case <-g.work.ended:
		return nil, fmt.Errorf("await a moment: the daemon's process ended: %s", g.work.words())
	case <-limit.C:
		return nil, fmt.Errorf("await a moment: nothing was written for %s: %s", springsIn, g.work.words())
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// nextLife ends the daemon, every other time without warning, and starts it anew.
func (g *rig) nextLife() error {
	known, err := readFacts(g.path(bookName), toldSoFar(g.path(bookName)))
	if err != nil {
		return err
	}
	if g.work != nil && g.result.Lives%2 == 1 && known.At-g.killed >= killsApart {
		g.killed = known.At
		g.work.kill()
	} else if g.work != nil {
		if err := g.work.stop(); err != nil {
			return err
		}
	}
	g.result.Lives++
	g.result.Room = known.At
	g.work, err = startWork(g.Case, known.At+time.Minute)
	return err
}

// judgeMoment makes images of a moment and judges each.
func (g *rig) judgeMoment(ctx context.Context, m *moment) error {
	all, err := readFacts(g.path(bookName), m.told)
	if err != nil {
		return err
	}
	kept, err := readFacts(g.path(bookName), m.kept)
	if err != nil {
		return err
	}
	for range min(g.Each, g.Images-g.result.Images) {
		n := g.result.Images
		j := &judge{config: g.path("config"), known: all, kept: kept, seed: uint64(n) + 1, honest: g.Late == 0, log: slog.New(slog.DiscardHandler)}
		v, err := g.judgeImage(ctx, m.cut(n, g.dice), j)
		if err != nil {
			return fmt.Errorf("judge image %d: %w", n, err)
		}
		g.result.add(n, v)
	}
	return nil
}

// startTries is how often a start is tried that the rig's own broker spoils.
const startTries = 3

func (g *rig) judgeImage(ctx context.Context, image []byte, j *judge) (v *Verdict, err error) {
	for range startTries {
		v = &Verdict{}
		if err = g.tryImage(ctx, image, j, v); !errors.Is(err, errNoMarks) {
			return v, err
		}
		g.result.Tries++
	}
	return nil, err
}

// tryImage mounts one image, as a machine does when its power comes back, and has it
// judged.
func (g *rig) tryImage(ctx context.Context, image []byte, j *judge, v *Verdict) error {
	file, at := g.path(imageName), g.path(imageMount)
	if err := save(image, file); err != nil {
		return err
	}
	defer os.Remove(file)
	if err := mount(file, at, ""); err != nil {
		v.Repaired = true
		words, _ := repair(file) // whether it helped, the mount shows
		if err := mount(file, at, ""); err != nil {
			v.Dead = err.Error() + ": " + words
			if j.honest {
				v.violate("the file system is gone: %s", v.Dead)
			}
			return nil
		}
	}
	judged := g.withBroker(j, func() error { return j.image(ctx, filepath.Join(at, stateName), v) })
	if err := unix.Unmount(at, 0); err != nil {
		return errors.Join(judged, fmt.Errorf("unmount the image: %w", err))
	}
	return judged
}

// withBroker gives a judge a broker of its own. One that is shared loses, now and then,
// a subscription that comes while the last client's subscription to the same topic goes.
func (g *rig) withBroker(j *judge, do func() error) error {
	b, err := broker.Start("127.0.0.1:0", broker.Options{})
	if err != nil {
		return err
	}
	j.broker = b.URL()
	if err := writeConfig(j.config, j.broker); err != nil {
		return errors.Join(err, b.Close())
	}
	return errors.Join(do(), b.Close())
}

// encode gives a result as one line.
func (r *Result) encode() string {
	line, err := json.Marshal(r)
	if err != nil {
		return err.Error()
	}
	return string(line)
}
