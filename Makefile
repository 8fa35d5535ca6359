# Every target works on a clean checkout with Go and git.

.PHONY: test race generate fmt soak bench faultbench build

# The test command of README.md.
test:
	go vet ./...
	go test ./...

# The same under the race detector; CI runs it too.
race:
	go test -race ./...

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
