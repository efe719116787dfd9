import { parentPort, workerData } from 'node:worker_threads';
import { LineOut } from '../shared/line.ts';
import { showBeat } from '../shared/network-thread.ts';
import { NICENESS, standBack } from '../shared/niceness.ts';
import { Broker } from './broker.ts';
import { Link } from './link.ts';
import { type FromLink, type LinkStart, ownMs, type ToLink } from './protocol.ts';

/** Entry of the show's thread: whatever the broker does, nothing but this thread waits for it. */
if (!parentPort) throw new Error('the show runs as a worker thread of sinewd');

standBack(NICENESS.show);

const main = parentPort;
const { facts, version, ring, beat } = workerData as LinkStart;
const line = new LineOut<FromLink>(ring, (message) => main.postMessage(message));
const link = new Link({
  facts,
  version,
  clock: {
    nowMs: ownMs,
    after: (ms, wake) => {
      const timer = setTimeout(wake, ms);
      return () => clearTimeout(timer);
    },
  },
  wire: { send: (topic, payload, retain) => broker.send(topic, payload, retain) },
  toCore: (message) => line.send(message),
});
const broker = new Broker(facts.show, link, {
  connected: () => link.connected(),
  lost: (problem) => link.lost(problem),
  message: (topic, payload, retained) => link.receive(topic, payload, retained),
});

main.on('message', (message: ToLink) => {
  if (message.t !== 'close') {
    link.hear(message);
    return;
  }
  link.close();
  void broker.close().then(() => process.exit(0));
});
showBeat(beat);
broker.open();
