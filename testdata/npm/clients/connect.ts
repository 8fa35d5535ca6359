// A client of the calls, with code that protoc-gen-es makes of the .proto files: as
// Connect and as gRPC-Web, on the port of the pages.
import { Code, ConnectError, createClient, type Interceptor } from "@connectrpc/connect";
import { createConnectTransport, createGrpcWebTransport } from "@connectrpc/connect-web";
import { History } from "./generated/proofload/v1/history_pb.js";
import { Specs } from "./generated/proofload/v1/specs_pb.js";

declare const process: { env: Record<string, string> };

const { SERVER, READER, RECORD } = process.env;
const check = (ok: boolean, what: string) => {
  if (!ok) throw new Error(what);
};
const withToken: Interceptor = (next) => (request) => {
  request.header.set("Authorization", `Bearer ${READER}`);
  return next(request);
};

for (const make of [createConnectTransport, createGrpcWebTransport]) {
  const transport = make({ baseUrl: SERVER, interceptors: [withToken] });
  const specs = createClient(Specs, transport);
  const nut = await specs.getFastener({ name: `fasteners/${RECORD}` });
  const torque: number = nut.tightening?.stages[0]?.torque?.newtonMetres ?? 0;
  check(torque > 0 && nut.waivers.length === 0, "the record has no torque");
  const table = await specs.listVehicleFasteners({ parent: "vehicles/quill-1" });
  check(table.fasteners.length > 10, "the table is short");
  try {
    await createClient(Specs, make({ baseUrl: SERVER })).getFastener({ name: `fasteners/${RECORD}` });
    throw new Error("a protected server answers strangers");
  } catch (err) {
    check(ConnectError.from(err).code === Code.Unauthenticated, `a stranger is refused with ${err}`);
  }
  const away = new AbortController();
  for await (const event of createClient(History, transport).watchLog({ after: 0n }, { signal: away.signal })) {
    check(event.event === "publication" && event.position === 1n, "the watch begins elsewhere");
    break;
  }
  away.abort();
}
console.log("connect: Connect and gRPC-Web");
