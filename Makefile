# Every target works on a clean checkout with Go and git.

.PHONY: test race faults soak generate fmt bench faultbench build

# The test command of README.md.
test:
	go vet ./...
	go test ./...

# The same under the race detector; CI runs it too.
race:
	go test -race ./...

# What a store goes through: kills, power failures at every kind of call, flipped
# bits, full disks, histories judged by an outside checker. make test does the same
# with smaller figures; CI runs these, soak those of a night and more.
FAULTS = go test -v -run 'Kill|Power|Flips|Migration|Full' ./server/store/sqlite

faults:
	$(FAULTS) -timeout 30m -cycles 200 -crash-points 2000 -flips 300 -operations 100000

soak:
	$(FAULTS) -timeout 0 -cycles 10000 -crash-points 100000 -flips 5000 -operations 10000000

generate:
	go generate ./...

fmt:
	gofmt -w $$(git ls-files '*.go' | grep -v '^api/proofload/')

build:
	go build -trimpath -o proofload ./tools/proofload

bench:
	go run ./tools/bench

faultbench:
	go run ./tools/faultbench
