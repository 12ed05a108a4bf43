package webhook_test

import (
	"fmt"
	"net/netip"
	"time"

	"hatchwright/service/webhook"
)

// The example of the specification's reference libraries.
func ExampleSign() {
	h, err := webhook.Sign(webhook.Message{ID: "msg_p5jXN8AQM9LWM0D4loKWxJek", At: time.Unix(1614265330, 0),
		Body: []byte(`{"test": 2432232314}`), Secrets: []string{"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"}})
	fmt.Println(h.Get("webhook-signature"), err)
	// Output: v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE= <nil>
}

// A metadata address of a cloud is refused, also inside IPv6.
func ExamplePolicy_CheckAddress() {
	var p webhook.Policy
	for _, a := range []string{"169.254.169.254", "64:ff9b::a9fe:a9fe", "1.1.1.1"} {
		fmt.Println(p.CheckAddress(netip.MustParseAddr(a)))
	}
	// Output:
	// address refused: 169.254.169.254 is not a public address
	// address refused: 64:ff9b::a9fe:a9fe is not a public address
	// <nil>
}
