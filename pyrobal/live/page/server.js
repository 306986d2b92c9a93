// Requests to the server this page came from.

const REST = 150; // ms without a move before curves are asked for
const AGAIN = 1000; // ms between attempts to reach a server that has stopped

/** Raised where the server cannot be reached. */
export class Unreached extends Error {}

async function fetched(path, options) {
  let response;
  try {
    response = await fetch(path, options);
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Unreached(error.message);
  }
  if (!response.ok) throw new Error((await response.text()) || `${response.status} ${response.statusText}`);
  return response;
}

export async function get(path) {
  return (await fetched(path)).json();
}

export async function post(path, body, signal) {
  const headers = { "Content-Type": "application/json" };
  return fetched(path, { method: "POST", headers, body: JSON.stringify(body), signal });
}

/**
 * One request at a time, the newest wins: what is asked while one is under way waits, and gives its place to what
 * is asked after it. `take(answer, request, last)`: `last` where nothing newer waits.
 */
export class Lane {
  constructor(path, take, failed) {
    Object.assign(this, { path, take, failed });
    this.waiting = null;
    this.busy = false;
  }

  ask(request) {
    this.waiting = request;
    if (!this.busy) this.run();
  }

  async run() {
    this.busy = true;
    while (this.waiting) {
      const request = this.waiting;
      this.waiting = null;
      try {
        const answer = await (await post(this.path, request)).json();
        this.take(answer, request, this.waiting === null);
      } catch (error) {
        this.failed(error);
        if (error instanceof Unreached) this.waiting = null; // all is asked again when it is back
      }
    }
    this.busy = false;
  }
}

/** What is worth asking only when the handles rest. What it is asked for has a name: it is asked once. */
export class AtRest {
  constructor(path, take, failed) {
    Object.assign(this, { path, take, failed });
    this.name = ""; // of what is shown or under way
    this.shown = false;
    this.took = 0; // ms, the last time
    this.timer = null;
    this.under = null;
  }

  /** Asks after a rest, unless it is asked already; `take` is called when it is there, at once where it is. */
  ask(name, request) {
    if (name === this.name) return this.shown && this.take(null);
    this.stop();
    this.name = name;
    this.timer = setTimeout(() => this.run(request), REST);
  }

  /** Gives up what is under way for another name; whether what is shown is of another. */
  outdated(name) {
    if (name === this.name) return false;
    this.stop();
    return true;
  }

  stop() {
    clearTimeout(this.timer);
    this.under?.abort();
    Object.assign(this, { under: null, name: "", shown: false });
  }

  async run(request) {
    const under = (this.under = new AbortController());
    const began = performance.now();
    try {
      const answer = await (await post(this.path, request, under.signal)).json();
      if (this.under !== under) return;
      Object.assign(this, { under: null, shown: true, took: performance.now() - began });
      this.take(answer, request);
    } catch (error) {
      if (this.under === under) this.stop();
      if (error.name !== "AbortError") this.failed(error);
    }
  }
}

/**
 * Hears that the case file changed, that the server stopped, and that it is back. A page nobody sees does not listen:
 * a browser keeps few connections to one server. `changed` is called whenever something may have been missed.
 */
export function hear({ changed, stopped, back }) {
  let source = null;
  let lost = false;
  const listen = () => {
    if (source || document.hidden) return;
    source = new EventSource("changes");
    source.addEventListener("open", () => {
      if (lost) back();
      else changed();
      lost = false;
    });
    source.addEventListener("case", changed);
    source.addEventListener("error", () => {
      leave();
      if (!lost) stopped();
      lost = true;
      setTimeout(listen, AGAIN);
    });
  };
  const leave = () => {
    source?.close();
    source = null;
  };
  document.addEventListener("visibilitychange", () => (document.hidden ? leave() : listen()));
  listen();
}
