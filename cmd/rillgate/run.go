package main

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon"
)

// Memory that the daemon may take before it collects harder: a small box has 512 MB
// for everything.
const (
	memoryLimit = 48 << 20
	gcPercent   = 50
)

func newRun(f *flags) *cobra.Command {
	return &cobra.Command{
		Use:   "run",
		Short: "Run the daemon for one room",
		Long: "Run the daemon for one room.\n\nSIGHUP applies the files on disk; SIGTERM and SIGINT close every valve, then stop.\n" +
			"With systemd it tells when it is ready and that it lives.",
		Args: cobra.NoArgs,
		RunE: job(func(cmd *cobra.Command, _ []string) error { return runDaemon(cmd, f) }),
	}
}

func runDaemon(cmd *cobra.Command, f *flags) error {
	limitMemory()
	state, err := f.stateDir()
	if err != nil {
		return err
	}
	room, err := f.roomID(state)
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGTERM, syscall.SIGINT)
	defer stop()
	signal.Ignore(syscall.SIGPIPE) // who reads the log may end: the room goes on
	hup := make(chan os.Signal, 1) // also while it starts
	signal.Notify(hup, syscall.SIGHUP)
	defer signal.Stop(hup)
	out := newLogPipe(cmd.ErrOrStderr())
	defer out.flush(time.Second)
	log := slog.New(slog.NewTextHandler(out, nil))
	for {
		err := runOnce(ctx, hup, daemon.Options{Config: f.config, State: state, Room: room, Version: version(), Log: log})
		if !errors.Is(err, daemon.ErrRestart) || ctx.Err() != nil {
			return err
		}
		log.Info("starting anew")
	}
}

func runOnce(ctx context.Context, hup <-chan os.Signal, o daemon.Options) error {
	d, err := daemon.Open(o)
	if errors.Is(err, daemon.ErrOtherRuns) {
		return failed(err, "it answers at its control socket: `rillgate zones`")
	}
	if err != nil {
		return err
	}
	reload := make(chan struct{}, 1)
	inner, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() {
		for {
			select {
			case <-hup:
				select {
				case reload <- struct{}{}:
				default:
				}
			case <-inner.Done():
				return
			}
		}
	}()
	return d.Run(ctx, reload)
}

// limitMemory keeps what the environment says (GOGC, GOMEMLIMIT).
func limitMemory() {
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(memoryLimit)
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
}

// version is what the build says of itself.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	if v == "" || v == "(devel)" {
		v = "development"
	}
	return v
}
