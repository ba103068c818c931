/** One POST of JSON, and every way it can fail, as data. */

/**
 * `portal`: something that is not the clinic answered (a sign-in page of the network); `busy`: 429 or 503;
 * `server`: any other status; `too_large`: 413.
 */
export type PostFailure = "offline" | "timeout" | "portal" | "busy" | "server" | "too_large";

export type Reply =
  | { kind: "ok"; json: unknown }
  | { kind: "denied" }
  | { kind: "later"; why: PostFailure; after_ms: number | null };

export type Post = (path: string, body: unknown) => Promise<Reply>;

const TIMEOUT_MS = 20_000;

function later(why: PostFailure, retryAfter: string | null = null): Reply {
  const seconds = Number(retryAfter ?? Number.NaN);
  return { kind: "later", why, after_ms: Number.isFinite(seconds) ? Math.min(seconds * 1000, 3_600_000) : null };
}

async function readResponse(response: Response): Promise<Reply> {
  const isJson = (response.headers.get("content-type") ?? "").includes("json");
  const json: unknown = isJson ? await response.json().catch(() => undefined) : undefined;
  // A gateway on the way has other words of its own, and its refusal would outlast it.
  if (response.status === 403 && (json as { code?: unknown } | null | undefined)?.code === "check") return { kind: "denied" };
  if (response.status === 413) return later("too_large");
  if (response.status === 429 || response.status === 503) return later("busy", response.headers.get("retry-after"));
  if (!response.ok) return later(isJson || response.status >= 500 ? "server" : "portal");
  return json === undefined ? later("portal") : { kind: "ok", json };
}

/** `fetch` is passed in, so that a test can stand for the network. No cookies of a signed-in member of staff are sent. */
export function jsonPoster(fetchIt: typeof fetch, timeoutMs = TIMEOUT_MS): Post {
  return async (path, body) => {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), timeoutMs);
    try {
      const response = await fetchIt(path, {
        method: "POST",
        headers: { "content-type": "application/json", accept: "application/json" },
        body: JSON.stringify(body),
        credentials: "omit",
        cache: "no-store",
        redirect: "manual",
        referrerPolicy: "no-referrer",
        signal: stop.signal,
      });
      return response.type === "opaqueredirect" ? later("portal") : await readResponse(response);
    } catch {
      return later(stop.signal.aborted ? "timeout" : "offline");
    } finally {
      clearTimeout(timer);
    }
  };
}
