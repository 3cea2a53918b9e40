package realbroker

import (
	"crypto/pbkdf2"
	"crypto/sha512"
	"encoding/base64"
	"fmt"
	"strings"
)

// passwordFile gives a password_file: name:$7$rounds$salt$hash, PBKDF2 with
// SHA-512 (mosquitto 2, mosquitto_passwd). One salt serves: these are no secrets.
func passwordFile(users map[string]string) string {
	const rounds = 101
	salt := []byte("0123456789ab")
	var b strings.Builder
	for name, password := range users {
		hash, err := pbkdf2.Key(sha512.New, password, salt, rounds, sha512.Size)
		if err != nil {
			panic(err) // the lengths are constants that the function takes
		}
		encode := base64.StdEncoding.EncodeToString
		fmt.Fprintf(&b, "%s:$7$%d$%s$%s\n", name, rounds, encode(salt), encode(hash))
	}
	return b.String()
}
