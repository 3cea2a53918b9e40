// Package simfield puts a simulated room on the field topics, as real room controllers
// would be: one MQTT 3.1.1 client a controller, with a clean session of its own.
//
//	rillgate/<room>/field/<controller>/status                  out  retained, also the will
//	rillgate/<room>/field/<controller>/readings                out  QoS 0, SenML packs
//	rillgate/<room>/field/<controller>/report                  out  QoS 1
//	rillgate/<room>/field/<controller>/input/<id>              out  QoS 1, retained
//	rillgate/<room>/field/<controller>/valve/<output>/command  in   QoS 1
//	rillgate/<room>/field/<controller>/echo                    out and in: the barrier's mark
//
// A controller that goes off the air (offline, reboot) drops its TCP connection
// without a word, so that the broker publishes its will; when it comes back it says
// all anew. Probes and outputs of foreign controllers (a place instead of a terminal)
// are not spoken for.
//
// # Two ways to run
//
// Run lives in real time: a process or goroutine of its own against any broker.
//
// Step and Barrier are for a virtual clock that the caller owns and that may run at
// any speed. Nothing happens between two steps; what a step sends is over when Barrier
// returns. One turn of the caller's clock is
//
//	sim.Step(ctx, now)    commands that came are obeyed at the time of the step before,
//	                      then everything due up to now happens and is sent
//	sim.Barrier(ctx)      the broker has taken all of it and routed it to the others
//	gateway's barrier     its own mark is back: it has read all that was routed to it
//	gateway's step        it decides at `now` and sends
//	gateway's barrier     the broker has routed that to the controllers
//	sim.Barrier(ctx)      the controllers have it: repeat with the same now while
//	                      Waiting() says that commands came, else go on to the earlier
//	                      of sim.Next() and the gateway's next instant
//
// so that no grant runs out only because the machine was busy: while messages travel,
// no time passes. A step that sent nothing needs no barrier. The barrier rests on MQTT's
// order: a broker handles what one client sends in order, and delivers to one client in
// order (MQTT 3.1.1, section 4.6, for messages of equal QoS on one topic; across topics
// and QoS it is how the embedded broker and mosquitto behave while a client keeps up).
package simfield
