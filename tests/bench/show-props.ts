import type { Show } from '../../src/prop/schema.ts';
import { Broker } from '../../src/show/broker.ts';
import { Link } from '../../src/show/link.ts';
import { type FromLink, ownMs, type PropState } from '../../src/show/protocol.ts';

/** A process of its own with many light props: the real link of each to the broker, and a core that does nothing. */

const [port, first, count] = process.argv.slice(2).map(Number) as [number, number, number];
const STATE: PropState = {
  ...{ condition: 'live', cause: null, armed: true, armedBy: 'desk', holder: null },
  ...{ lockout: false, runs: [], waits: 0, battery: null, problems: [] },
};
const clock = {
  nowMs: ownMs,
  after: (ms: number, wake: () => void) => {
    const timer = setTimeout(wake, ms);
    return () => clearTimeout(timer);
  },
};
/** By command: when the last prop here heard it (ms, a clock that all processes share), and how many did. */
const heard = new Map<string, { count: number; lastMs: number }>();
let connected = 0;

function open(name: string): void {
  const show = {
    ...{ name: 'foyer', prop: name, groups: [], broker: { url: `mqtt://127.0.0.1:${port}` } },
    ...{ whenBrokerLost: 'finish', maxUncertaintyMs: 10, parkAfterS: 30 },
  } as Show;
  const facts = { show, name, file: 'v1', cues: ['nod'] };
  const answer = (message: FromLink) => {
    if (message.t === 'link') {
      if (message.connected) connected++;
      return;
    }
    if (!('id' in message)) return;
    const { id, t } = message;
    if (t === 'stop') {
      const one = heard.get(id) ?? { count: 0, lastMs: 0 };
      one.count++;
      one.lastMs = ownMs();
      heard.set(id, one);
    }
    link.hear({ t: 'answer', id, outcome: t === 'go' ? 'waits' : 'done' });
  };
  const link = new Link({
    facts,
    version: '0',
    clock,
    wire: { send: (topic, payload, retain) => broker.send(topic, payload, retain) },
    toCore: answer,
  });
  const broker = new Broker(show, link, {
    connected: () => link.connected(),
    lost: (problem) => link.lost(problem),
    message: (topic, payload, retained) => link.receive(topic, payload, retained),
  });
  broker.open();
  link.hear({ t: 'state', state: STATE });
}

for (let i = 0; i < count; i++) setTimeout(() => open(`prop${first + i}`), 10 * i);

process.on('message', (ask: 'ready' | 'heard') => {
  if (ask === 'ready') process.send!({ connected });
  else process.send!({ heard: [...heard] });
});
