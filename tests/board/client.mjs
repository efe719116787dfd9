// A client in a process of its own: KIND, PORT, for so many MS. Prints what it did as JSON at its end.
// It lives in the board's time (LD_PRELOAD), so that its ms are the board's. Plain
// JavaScript with frames of its own: what translates TypeScript would start on the board's slow clock.
import { WebSocket } from 'ws';

const [kind, port, ms] = process.argv.slice(2);
const endMs = performance.now() + Number(ms);
const goesOn = () => performance.now() < endMs;
const sleep = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

class Session {
  #asked = new Map();
  #id = 0;
  static async open(client) {
    const session = new Session();
    session.socket = new WebSocket(`ws://127.0.0.1:${port}/api`);
    session.socket.on('message', (data) => {
      const answer = JSON.parse(data);
      session.#asked.get(answer.id)?.(answer);
      session.#asked.delete(answer.id);
    });
    session.closed = new Promise((resolve) => session.socket.once('close', resolve));
    session.socket.on('error', () => {});
    await Promise.race([
      new Promise((resolve) => session.socket.once('open', resolve)),
      session.closed,
    ]);
    const { error } = await session.call('session.open', { client });
    return error ? undefined : session;
  }
  call(method, params = {}) {
    if (this.socket.readyState !== WebSocket.OPEN) return Promise.resolve({ error: 'closed' });
    const id = ++this.#id;
    const answered = new Promise((resolve) => this.#asked.set(id, resolve));
    this.socket.send(JSON.stringify({ jsonrpc: '2.0', id, method, params }));
    return Promise.race([answered, this.closed.then(() => ({ error: 'closed' }))]);
  }
}

const outcome = { done: 0, refused: 0 };
const count = ({ error }) => {
  if (error) outcome.refused++;
  else outcome.done++;
};

const KINDS = {
  /** Connects, opens a session and goes, many times at once. */
  async storm() {
    const one = async () => {
      while (goesOn()) {
        const session = await Session.open('storm');
        count({ error: session === undefined });
        session?.socket.terminate();
      }
    };
    await Promise.all(Array.from({ length: 16 }, one));
  },
  /** Eight watchers that read the whole journal without end. */
  async journal() {
    const one = async () => {
      const session = await Session.open('reader');
      while (goesOn()) count(await session.call('journal.read', { limit: 1000 }));
      session.socket.terminate();
    };
    await Promise.all(Array.from({ length: 8 }, one));
  },
  /** Loads the page with all that it names, as a browser without a cache. */
  async page() {
    const base = `http://127.0.0.1:${port}/`;
    const get = async (url) => {
      const response = await fetch(url);
      count({ error: !response.ok });
      return response.text();
    };
    do {
      const html = await get(base);
      const named = [...html.matchAll(/(?:src|href)="([^"#]+)"/g)].map(
        ([, at]) => new URL(at, base),
      );
      await Promise.all(named.map(get));
    } while (goesOn());
  },
  /** Asks for every budget. */
  async budget() {
    const session = await Session.open('calculator');
    do {
      count(await session.call('budget.read'));
      const { result } = await session.call('cue.list');
      for (const cue of Object.keys(result.cues)) count(await session.call('budget.cue', { cue }));
    } while (goesOn());
    session.socket.terminate();
  },
  /** Holds the lease of the live prop until it is killed, and may ask for a capture. */
  async hold() {
    const session = await Session.open('held');
    const must = ({ error }) => {
      if (error) throw new Error(error.data?.reason ?? error);
    };
    must(await session.call('lease.take'));
    must(await session.call('wake', { wait: true, confirm: 'unknown' }));
    process.stdout.write('live\n');
    process.stdin.on('data', (line) => {
      const { method, params } = JSON.parse(line);
      void session.call(method, params);
    });
    await session.closed;
  },
};
await KINDS[kind]();
while (goesOn() && kind !== 'page' && kind !== 'budget') await sleep(10);
process.stdout.write(JSON.stringify(outcome), () => process.exit());
