// Package publish tells other tools about the room over MQTT: a Homie 5 tree, one
// retained list of alarms, a journal for archives, and it takes the few orders that
// may come in over set-topics.
//
//	<root>/5/<room>/$state                      init, ready, disconnected; lost is the will
//	<root>/5/<room>/$description                the tree as JSON; changes only while $state is init
//	<root>/5/<room>/$alert/<code>-<subject>     one a standing alarm, text for people
//	<root>/5/<room>/gateway/<property>          the gateway itself
//	<root>/5/<room>/zone-<id>/<property>        one node a zone
//	<root>/5/<room>/valve-<id>/<property>       one node a valve; open has $target
//	<root>/5/<room>/probe-<id>/<property>       one node a probe
//	<root>/5/<room>/<node>/<property>/set       orders, never retained
//	rillgate/<room>/alarms                      retained JSON list
//	rillgate/<room>/journal                     QoS 1, not retained, one JSON object an entry
//
// At each connect everything is published again, in this order: $state init, the
// subscriptions, $description, what has to go, all values, $state ready; nothing
// that the broker still holds is believed. A number that is not known is removed by
// a zero-length retained message, never left standing.
//
// The convention is Homie 5.0 (https://homieiot.github.io/specification/).
package publish
