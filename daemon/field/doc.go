// Package field is the link to the room controllers, over MQTT 3.1.1:
//
//	rillgate/<room>/field/<controller>/status                  in   retained; online | offline
//	rillgate/<room>/field/<controller>/readings                in   SenML pack (RFC 8428)
//	rillgate/<room>/field/<controller>/report                  in   QoS 1
//	rillgate/<room>/field/<controller>/input/<id>              in   retained
//	rillgate/<room>/field/<controller>/valve/<output>/command  out  QoS 1, never retained
//	rillgate/<room>/gateway/echo                               out and in: our own word, back from the broker
//
// Two connections, so that a flood of readings never delays a close: one carries
// commands, reports, status, inputs and the echo, the other readings in and state
// for other tools out. Each connection has a client of its own that ends with it:
// nothing is stored, so nothing decided before a loss is sent after it.
//
//	callback -> decode -> inbox (bounded, oldest reading shed first) -> Drain
//	Send     -> queue (bounded) -> one sender goroutine               -> broker
//
// Commands are watched too, on the connection for readings: a retained one, which
// would come again whenever its controller connects, is counted and cleared.
//
// Callbacks never block. What they refuse is counted by cause, with the last hint.
package field
