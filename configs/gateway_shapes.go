package configs

// The shapes of gateway.yaml: what the integrator may write.
var (
	gatewayShape = &shape{"How the gateway meets other systems.", []field{
		{"mqtt", mqttShape, true, "the broker"},
		{"lease", amount(timeSpan, "10 s", "2 min", "30 s"), false, "how long an open command holds without renewal"},
		{"clock", clockShape, false, "when the clock is trusted"},
		{"publish", publishShape, false, "what other tools are told"},
		{"page", pageShape, false, "the status page"},
		{"history", historyShape, false, "what is kept"},
		{"sources", notBuilt{"decoders for other controllers"}, false, "decoders for other controllers"},
		{"valve_outputs", notBuilt{"outputs of other controllers"}, false, "outputs of other controllers"},
	}, ""}

	mqttShape = &shape{"The broker.", []field{
		{"broker", brokerText, true, "the broker's URL"},
		{"username", label{128}, false, "the name at the broker"},
		{"password_file", pathText, false, "the file with the password on its first line"},
		{"password", refused{"a password stands in the file", "put it into a file that only the daemon reads, and name that with `password_file`"}, false, "never written here"},
		{"client_id", pattern{"a client id", `^[A-Za-z0-9_-]{1,20}$`, "gateway-1"}, false, "what the client ids begin with"},
		{"tls", tlsShape, false, "certificates for mqtts"},
	}, `mqtt: {broker: "mqtt://127.0.0.1:1883"}`}

	tlsShape = &shape{"Certificates for mqtts.", []field{
		{"ca", pathText, false, "who may sign the broker's certificate"},
		{"cert", pathText, false, "the gateway's own certificate"},
		{"key", pathText, false, "its key"},
	}, "tls: {ca: /etc/rillgate/ca.pem}"}

	clockShape = &shape{"When the clock is trusted.", []field{
		{"trust", word{"plausible", "synchronised"}, true, "plausible, or only when the kernel says synchronised"},
	}, "clock: {trust: plausible}"}

	publishShape = &shape{"What other tools are told.", []field{
		{"homie", homieShape, false, "the Homie 5 tree"},
	}, "publish: {homie: {enabled: true, root: homie, orders: [stop, hold]}}"}

	homieShape = &shape{"The Homie 5 tree.", []field{
		{"enabled", boolean{}, false, "whether it is published"},
		{"root", topicText, false, "the topic it begins with"},
		{"orders", listOf{word{"stop", "hold", "shot"}, 0}, false, "the orders taken over MQTT"},
	}, "homie: {enabled: true, root: homie, orders: [stop, hold]}"}

	pageShape = &shape{"The status page.", []field{
		{"listen", listenText, true, "where it listens"},
	}, "page: {listen: 127.0.0.1:8480}"}

	historyShape = &shape{"What is kept.", []field{
		{"keep", amount(timeSpan, "1 d", "3650 d", "90 d"), true, "how long readings are kept"},
	}, "history: {keep: 90 d}"}
)
