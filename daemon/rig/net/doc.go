// Package netrig holds tests of the built program as a process of its own, beside a
// real mosquitto and a controller process: in network namespaces whose links are cut,
// reset, slowed and healed (TestNetwork), under payloads that nobody should send
// (TestPayloads), and under a flood of readings (TestFlood).
//
// Namespaces are the test's own; no address outside them but loopback is ever used.
// docs/rigs.md has the commands and what was measured.
package netrig
