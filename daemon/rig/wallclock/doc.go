// Package wallclock runs an unmodified program in another time.
//
// A tracer (ptrace(2)) starts the program and hides the vDSO from it, so that it has to
// ask the kernel for the time; a filter (seccomp(2)) stops it at clock_gettime and
// adjtimex alone, and the tracer answers in the kernel's place: the true time and an
// offset, and whether the clock is synchronised. Offsets may change at any moment.
//
//	test --> Clock (shared memory) --> tracer --ptrace--> rillgate <--> mosquitto <--> simulated controller
//
// Only the program lives in the other time; broker, controller and test see the true
// one. Timers run by the kernel's own clock, so that an hour's step changes what the
// program reads and not how long it waits: as on a machine whose clock is set.
//
// Not covered: a clock that runs fast or slow (a person sets it, or it steps), and
// processors other than amd64.
package wallclock
