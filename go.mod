module rillgate

go 1.26.0

require (
	github.com/eclipse/paho.mqtt.golang v1.5.1
	github.com/mochi-mqtt/server/v2 v2.7.9
	github.com/robfig/cron/v3 v3.0.1
	github.com/spf13/cobra v1.10.2
	github.com/stretchr/testify v1.12.1
	go.etcd.io/bbolt v1.5.0
	go.yaml.in/yaml/v4 v4.0.0
	golang.org/x/net v0.62.0
	golang.org/x/sys v0.50.0
)

require (
	github.com/gorilla/websocket v1.5.3 // indirect
	github.com/inconshreveable/mousetrap v1.1.0 // indirect
	github.com/rs/xid v1.4.0 // indirect
	github.com/spf13/pflag v1.0.10 // indirect
	go.yaml.in/yaml/v3 v3.0.5 // indirect
	golang.org/x/sync v0.20.0 // indirect
)
