import { spawnSync } from 'node:child_process';
import { Daemon, Peer } from '../system/daemon.ts';
import type { Row } from './table.ts';

const RUNS = 7;

/** From the start of the process until it has said where it listens. */
export async function startRow(): Promise<Row> {
  const empty: number[] = [];
  const daemon: number[] = [];
  for (let run = 0; run < RUNS; run++) {
    const startedMs = performance.now();
    spawnSync(process.execPath, ['-e', '0']);
    empty.push(performance.now() - startedMs);
    const one = await Daemon.start();
    daemon.push(one.startMs);
    await one.cleanUp();
  }
  return {
    measure: 'start until it takes requests (ms)',
    values: daemon,
    baselines: empty,
    baselineName: 'node -e 0',
    target: { ratio: 6 },
  };
}

/** From the last sign of life of the holder until the daemon's own note that parking began. */
export async function lossRow(): Promise<Row> {
  const took: number[] = [];
  let timeoutMs = 0;
  const daemon = await Daemon.start();
  const watch = await Peer.connect(daemon);
  await watch.ask('session.open', { client: 'watch' });
  await watch.ask('state.follow', { hz: 50 });
  for (let run = 0; run < RUNS; run++) {
    const holder = await Peer.connect(daemon, false);
    const opened = await holder.ask('session.open', { client: 'silent' });
    timeoutMs = opened.linkTimeoutMs as number;
    // It answers pings, as a program that runs does, until it hangs.
    let lastMs = 0;
    let isAwake = false;
    const hangs = new Promise<void>((resolve) => {
      holder.socket.on('ping', (data) => {
        if (lastMs > 0) return;
        holder.socket.pong(data);
        if (!isAwake) return;
        lastMs = Date.now();
        resolve();
      });
    });
    await holder.ask('lease.take');
    await holder.ask('wake', { wait: true, confirm: 'unknown' });
    isAwake = true;
    await hangs;
    await watch.untilState((frame) => frame.condition !== 'live');
    const { entries } = (await watch.ask('journal.read', { limit: 1000 })) as {
      entries: { what: string; text: string; time: string }[];
    };
    const began = entries.findLast(
      (one) => one.what === 'condition' && one.text.startsWith('parking'),
    )!;
    took.push(Date.parse(began.time) - lastMs);
    await watch.ask('park', { wait: true });
  }
  await daemon.cleanUp();
  return {
    measure: 'silence until parking begins, longest (ms)',
    values: took,
    at: 1,
    baselines: [timeoutMs],
    baselineName: 'link.timeoutMs',
    slower: 'same',
    target: { value: timeoutMs + 100 },
  };
}
