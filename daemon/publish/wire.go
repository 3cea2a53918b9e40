package publish

import (
	"time"

	"rillgate/zones"
)

// Wire is the MQTT connection that carries this tree: the one of the readings, so
// that nothing here delays a command. Its will must be what Will gives.
type Wire interface {
	// Publish hands a message over and never blocks; false says that it was not
	// taken (link down, queue full), and the caller tries again later.
	Publish(topic string, qos byte, retained bool, payload []byte) bool
	// Subscribe is called anew at each connect; h runs on the connection's own
	// goroutine and never blocks.
	Subscribe(filter string, qos byte, h func(topic string, payload []byte, retained bool))
	// Up reports whether the connection stands.
	Up() bool
}

// Config is what a Publisher needs to know once.
type Config struct {
	Homie   bool   // publish the tree and take orders
	Root    string // first level of the tree, "homie"
	Room    string // id of the room, the tree's device
	Version string // of the program
	// Base must be higher at each start (the epoch is): from it comes the version of
	// $description, which may only rise.
	Base uint32
	// Orders lists what set-topics may ask: "stop", "hold" (its end too), "shot".
	Orders []string
	// Clock gives the wall clock and a clock that is never stepped.
	Clock func() (wall time.Time, mono time.Duration)
	// Submit hands an order to the core and never blocks; false says that it was
	// not taken. The order's answer comes back by Publisher.Answer.
	Submit func(zones.Order) bool
}

// Snapshot is the state to be told.
type Snapshot struct {
	View      zones.View
	PlanError string // why the files on disk were last refused; "" = they were not
	Walk      string // the last walk, JSON; "" = none is kept
}

// Will gives the message that the connection must leave as its will: retained,
// QoS 1.
func Will(root, room string) (topic string, payload []byte) {
	return root + "/5/" + room + "/$state", []byte("lost")
}

// AlarmsTopic is where the retained list of alarms stands.
func AlarmsTopic(room string) string { return "rillgate/" + room + "/alarms" }

// WalkTopic is where the last walk stands, retained.
func WalkTopic(room string) string { return "rillgate/" + room + "/walk" }

// JournalTopic is where each journal entry is told, once.
func JournalTopic(room string) string { return "rillgate/" + room + "/journal" }

// qosState is used for all that is retained: the convention is safe against
// repeats, and each connect tells everything again.
const qosState = 1
