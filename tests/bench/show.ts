import { type ChildProcess, fork, spawn } from 'node:child_process';
import { once } from 'node:events';
import { readFileSync } from 'node:fs';
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import mqtt from 'mqtt';
import { Conductor } from '../../src/show/conductor.ts';
import { ownMs } from '../../src/show/protocol.ts';
import { topics } from '../../src/show/wire.ts';
import { needMosquitto } from '../mosquitto.ts';
import { quantile } from './table.ts';

/**
 * How a show grows: simulated props (the real link of each, and no core) in a few processes, a real mosquitto
 * without TLS, and one conductor, all on this machine. `node --import tsx tests/bench/show.ts [PROPS ...]`
 */

const PROPS = fileURLToPath(new URL('show-props.ts', import.meta.url));
/** Props in one process, at most. */
const EACH = 50;
const STOPS = 100;
/** A prop heeds ten stops a second for ever. */
const STOP_EVERY_MS = 150;
const LOOK_S = 10;
/** Ticks of a processor in a second, as /proc counts them (USER_HZ on Linux). */
const HZ = 100;

export interface Scale {
  props: number;
  /** Messages that the broker receives and sends while nothing is asked for (1/s). */
  messagesPerS: number;
  /** Share of one core of the broker then, and of all props. */
  brokerCores: number;
  propCores: number;
  /** Resident memory (MB): the broker, and each prop beyond an empty process. */
  brokerMb: number;
  propMb: number;
  /** A stop is with all props (ms): median and p99 of all stops. */
  stopMs: number;
  stopP99Ms: number;
  /** Answers of all are with the conductor (ms), p99. */
  answersP99Ms: number;
}

function processOf(pid: number): { seconds: number; mb: number } {
  const [, after] = /\) (.*)/.exec(readFileSync(`/proc/${pid}/stat`, 'utf8'))!;
  const fields = after!.split(' ');
  const kb = /^VmRSS:\s+(\d+) kB$/m.exec(readFileSync(`/proc/${pid}/status`, 'utf8'))![1];
  // Fields 14 and 15 of proc(5), stat: utime and stime.
  return { seconds: (Number(fields[11]) + Number(fields[12])) / HZ, mb: (Number(kb) * 1024) / 1e6 };
}

async function asked<T>(child: ChildProcess, word: string): Promise<T> {
  child.send(word);
  const [reply] = await once(child, 'message');
  return reply as T;
}

/** @param stops how many are sent; for a small run, fewer */
export async function scaleOf(props: number, stops = STOPS, lookS = LOOK_S): Promise<Scale> {
  needMosquitto();
  const folder = await mkdtemp(join(tmpdir(), 'sinew-show-bench-'));
  const port = 18_830 + Math.floor(Math.random() * 1000);
  const conf = join(folder, 'conf');
  const user = process.getuid?.() === 0 ? 'user root\n' : '';
  await writeFile(
    conf,
    `${user}listener ${port} 127.0.0.1\nallow_anonymous true\nsys_interval 1\nmax_queued_messages 10000\n`,
  );
  const broker = spawn('/usr/sbin/mosquitto', ['-c', conf], { stdio: 'ignore' });
  await sleep(500);
  const children: ChildProcess[] = [];
  const count = Math.ceil(props / EACH);
  for (let i = 0; i < count; i++) {
    const some = Math.min(EACH, props - i * EACH);
    children.push(
      fork(PROPS, [String(port), String(i * EACH), String(some)], {
        execArgv: ['--import', 'tsx'],
      }),
    );
  }
  const empty = fork(PROPS, [String(port), '0', '0'], { execArgv: ['--import', 'tsx'] });
  const client = await mqtt.connectAsync(`mqtt://127.0.0.1:${port}`, { protocolVersion: 5 });
  const send = (topic: string, payload: string) => {
    client.publish(topic, payload, { qos: topic.includes('/clock/') ? 0 : 1 });
    return true;
  };
  const clock = {
    nowMs: ownMs,
    after: (ms: number, wake: () => void) => {
      const timer = setTimeout(wake, ms);
      return () => clearTimeout(timer);
    },
  };
  const conductor = new Conductor({ show: 'foyer', from: 'bench', clock, send });
  client.on('message', (topic, payload) => {
    if (topic.startsWith('$SYS')) counts.set(topic, Number(payload));
    else conductor.receive(topic, payload);
  });
  const counts = new Map<string, number>();
  try {
    await client.subscribeAsync([...conductor.subscriptions], { qos: 1 });
    await client.subscribeAsync('$SYS/broker/messages/#');
    conductor.connected();
    const names = Array.from({ length: props }, (_, i) => `prop${i}`);
    const all = () => names.every((name) => conductor.present(name)) && conductor.isKnownTo(names);
    if (!(await conductor.until(all, 120_000))) throw new Error('not all props are there');
    // By then the questions for the time have settled.
    await sleep(5000);
    const total = () =>
      (counts.get('$SYS/broker/messages/received') ?? 0) +
      (counts.get('$SYS/broker/messages/sent') ?? 0);
    const looks = () => ({
      total: total(),
      broker: processOf(broker.pid!),
      props: children.map(({ pid }) => processOf(pid!)),
    });
    const before = looks();
    await sleep(1000 * lookS);
    const after = looks();
    const bare = processOf(empty.pid!).mb;
    const sentMs: { ms: number; doneMs: number }[] = [];
    const ids: string[] = [];
    for (let i = 0; i < stops; i++) {
      const ms = ownMs();
      const id = `bench-stop-${props}-${i}`;
      ids.push(id);
      client.publish(
        topics.allCommand('foyer'),
        JSON.stringify({
          ...{ v: 1, id, from: 'bench', clock: conductor.clockId, sentMs: ms, voidAfterMs: 5000 },
          ...{ act: 'stop', category: 1 },
        }),
        { qos: 1 },
      );
      const heardBy = await answersOf(client, id, props);
      sentMs.push({ ms, doneMs: heardBy });
      await sleep(Math.max(0, STOP_EVERY_MS - (ownMs() - ms)));
    }
    const lastMs = new Map<string, { count: number; lastMs: number }>();
    for (const child of children) {
      type Heard = { heard: [string, { count: number; lastMs: number }][] };
      const { heard } = await asked<Heard>(child, 'heard');
      for (const [id, one] of heard) {
        const known = lastMs.get(id) ?? { count: 0, lastMs: 0 };
        lastMs.set(id, {
          count: known.count + one.count,
          lastMs: Math.max(known.lastMs, one.lastMs),
        });
      }
    }
    const took = ids.map((id, i) => {
      const one = lastMs.get(id);
      if (one?.count !== props) throw new Error(`stop ${i} reached ${one?.count} of ${props}`);
      return one.lastMs - sentMs[i]!.ms;
    });
    const cores = (was: { seconds: number }, is: { seconds: number }) =>
      (is.seconds - was.seconds) / lookS;
    const propMb = after.props.reduce((sum, { mb }) => sum + mb - bare, 0) / props;
    return {
      props,
      messagesPerS: (after.total - before.total) / lookS,
      brokerCores: cores(before.broker, after.broker),
      propCores: after.props.reduce((sum, one, i) => sum + cores(before.props[i]!, one), 0),
      brokerMb: after.broker.mb,
      propMb,
      stopMs: quantile(took, 0.5),
      stopP99Ms: quantile(took, 0.99),
      answersP99Ms: quantile(
        sentMs.map(({ ms, doneMs }) => doneMs - ms),
        0.99,
      ),
    };
  } finally {
    conductor.close();
    client.end(true);
    for (const child of [...children, empty, broker]) child.kill('SIGKILL');
    await rm(folder, { recursive: true, force: true });
  }
}

/** When all props have answered (ms). */
function answersOf(client: mqtt.MqttClient, id: string, props: number): Promise<number> {
  return new Promise((resolve) => {
    let count = 0;
    const hear = (topic: string, payload: Buffer) => {
      if (!topic.endsWith('/answer') || !payload.includes(id)) return;
      if (++count < props) return;
      client.off('message', hear);
      resolve(ownMs());
    };
    client.on('message', hear);
  });
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const sizes = process.argv.slice(2).map(Number);
  const cell = (value: number) => (value >= 100 ? value.toFixed(0) : value.toPrecision(2));
  console.log(
    '| props | messages/s at rest | broker (cores) | all props (cores) | broker (MB) | each prop (MB) | stop with all, p50 (ms) | p99 (ms) | all have answered, p99 (ms) |',
  );
  console.log('| --- | --- | --- | --- | --- | --- | --- | --- | --- |');
  for (const size of sizes.length > 0 ? sizes : [1, 10, 100, 400]) {
    const { props, ...rest } = await scaleOf(size);
    console.log(`| ${props} | ${Object.values(rest).map(cell).join(' | ')} |`);
  }
  process.exit();
}
