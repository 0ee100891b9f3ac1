// The link to the daemon.  Word from it is a view whose time has moved on: an answer
// that repeats an old view is no word.  Events where they work, asking again where not.

const ASK_AGAIN_MS = 3_000;

/** Follows the daemon and calls `onView` with every view that has moved on. */
export class Link {
  constructor(onView) {
    this.onView = onView;
    this.view = null;
    this.answered = false; // whether an old view came since the last word
    this.heardAt = { steady: performance.now(), wall: Date.now() };
  }

  start() {
    this.listen();
    this.ask();
    setInterval(() => this.askIfDeaf(), ASK_AGAIN_MS);
    // A phone that slept may believe that it is still connected.
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden) this.ask();
    });
  }

  /** How long ago the daemon gave word [ms]; a sleeping phone's time counts too. */
  get silence() {
    const { steady, wall } = this.heardAt;
    return Math.max(performance.now() - steady, Date.now() - wall);
  }

  listen() {
    this.source?.close();
    this.source = new EventSource("events");
    this.source.addEventListener("view", (event) => this.take(JSON.parse(event.data)));
    this.source.addEventListener("pulse", (event) => {
      if (this.view) this.take({ ...this.view, ...JSON.parse(event.data) });
    });
  }

  askIfDeaf() {
    if (this.source.readyState === EventSource.CLOSED) this.listen();
    if (this.silence > ASK_AGAIN_MS) this.ask();
  }

  async ask() {
    const before = this.view;
    try {
      const answer = await fetch("view", { signal: AbortSignal.timeout(5_000) });
      this.answered = true;
      const view = answer.ok ? await answer.json() : null;
      // An event that came meanwhile is younger than this answer.
      if (view && this.view === before) this.take(view);
    } catch {
      this.answered = false;
    }
  }

  take(view) {
    if (this.view && view.now_ms === this.view.now_ms) return;
    this.answered = false;
    this.heardAt = { steady: performance.now(), wall: Date.now() };
    this.view = view;
    this.onView(view);
  }
}
