// Package kill is a rig of tests alone: the real binary dies by SIGKILL again and
// again, at random moments and at named system calls, and what then stands on disk,
// what went over the wire and what the valves did is held against the invariants.
//
//	controller process --- mosquitto --- rillgate run <-- SIGKILL, SIGSTOP, strace
//	       | tape: readings, reports,        | ledger, read after each death
//	       | commands, contacts              |
//	       '------------> lane ------> zonetest.Checker
//
// A lane is one room with a broker, a controller process and a state directory of its
// own; lanes run side by side, since nearly all of a cycle is the boot hold.
package kill
