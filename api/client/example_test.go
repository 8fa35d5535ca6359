package client_test

import (
	"context"
	"fmt"
	"log"

	"proofload/api/client"
	pb "proofload/api/proofload/v1"
)

// A shop app reads a value with everything that belongs to it, and what it has read
// once it never reads older.
func ExampleDial() {
	c, err := client.Dial("127.0.0.1:7451")
	if err != nil {
		log.Fatal(err)
	}
	defer c.Close()
	f, err := c.Specs.GetFastener(context.Background(), &pb.GetFastenerRequest{Name: "fasteners/quill-1-rear-hub-nut"})
	if err != nil {
		log.Fatal(client.Reason(err), err)
	}
	fmt.Println(f.GetTitle(), "as of position", c.Position())
}

// A shop app follows what is published. The loop goes on where it was after a lost
// connection, each publication once and in order.
func ExampleClient_Watch() {
	c, err := client.Dial("127.0.0.1:7451")
	if err != nil {
		log.Fatal(err)
	}
	defer c.Close()
	for event, err := range c.Watch(context.Background(), &pb.WatchLogRequest{}) {
		if err != nil {
			log.Fatal(err)
		}
		fmt.Println(event)
	}
}
