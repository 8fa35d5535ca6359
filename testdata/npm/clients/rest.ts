// A client of the REST interface, with types that openapi-typescript makes of
// /openapi.json: it reads a protected server, pages, meets an error and proposes.
import createClient from "openapi-fetch";
import type { components, paths } from "./generated/rest.js";

declare const process: { env: Record<string, string> };

const { SERVER, READER, EDITOR, RECORD } = process.env;
const client = (token: string) => createClient<paths>({ baseUrl: SERVER, headers: token ? { Authorization: `Bearer ${token}` } : {} });
const check = (ok: boolean, what: string) => {
  if (!ok) throw new Error(what);
};

const reader = client(READER);
const one = await reader.GET("/v1/fasteners/{id}", { params: { path: { id: RECORD } } });
if (one.error) throw new Error(one.error.detail);
const nut: components["schemas"]["Fastener"] = one.data;
// Fields that are always there need no question mark; a vocabulary is a union of
// its words, in a view the same as in a document.
const stages: number = nut.tightening.stages.length;
const joint: components["schemas"]["FastenerDocument"]["joint"] = nut.joint;
const closed: string extends typeof joint ? false : true = true;
check(stages > 0 && closed && joint.length > 0 && nut.waivers.length === 0, "the record is not what its type says");

let rows = 0;
let page_token: string | undefined;
do {
  const page = await reader.GET("/v1/fasteners", { params: { query: { page_size: 100, vehicle: "quill-1", page_token } } });
  if (page.error) throw new Error(page.error.detail);
  rows += page.data.fasteners.length;
  page_token = page.data.next_page_token;
} while (page_token);
check(rows > 10, `the listing has ${rows} rows`);

const empty = await reader.GET("/v1/fasteners", { params: { query: { vehicle: "quill-1", place: "rear hub", joint: "tension" } } });
check(empty.data?.fasteners.length === 0, "an empty list is not there");

const nobody = await client("").GET("/v1/fasteners/{id}", { params: { path: { id: RECORD } } });
check(nobody.response.status === 401 && nobody.error?.reason === "TOKEN_MISSING", "a protected server answers strangers");
const nothing = await reader.GET("/v1/vehicles/{id}", { params: { path: { id: "quil-1" } } });
check(nothing.error?.metadata?.near === "vehicles/quill-1", "no near name");

const document = await reader.GET("/v1/fasteners/{id}/document", { params: { path: { id: RECORD } } });
if (document.error) throw new Error(document.error.detail);
const stored: components["schemas"]["FastenerDocument"] = document.data;
const etag = document.response.headers.get("ETag") ?? "";
const proposed = await client(EDITOR).PUT("/v1/fasteners/{id}/document", {
  params: { path: { id: RECORD }, query: { reason: "a remark for the whole shop", validate_only: true }, header: { "If-Match": etag } },
  body: { ...stored, note: "Cleaned before it is fitted." },
});
if (proposed.error) throw new Error(proposed.error.detail);
check(proposed.data.state === "open" && proposed.data.records[0].fields.length === 1, "the proposal was not judged");
console.log(`rest: ${rows} rows, ${stages} stages`);
