import { fileURLToPath } from 'node:url';
import { type MessagePort, parentPort, workerData } from 'node:worker_threads';
import * as z from 'zod';
import type { ChangeMessage } from '../core/core-prop.ts';
import { systemClock } from '../shared/clock.ts';
import { levelOf } from '../shared/journal.ts';
import { LineOut } from '../shared/line.ts';
import { NICENESS, standBack } from '../shared/niceness.ts';
import { makeCollector } from './collector.ts';
import { makeLogSink } from './log-sink.ts';
import { PlannerThread } from './planner.ts';
import { prepare } from './prepare.ts';
import {
  type FromGateway,
  type FromService,
  isAnswerToStart,
  type PrepareStart,
  type ServiceStart,
  type ToService,
} from './protocol.ts';
import { PropService } from './service.ts';

/** Entry of the thread of the prop-file service. */
if (!parentPort) throw new Error('this runs as a worker thread of sinewd');
const main = parentPort;
const given = workerData as ServiceStart | PrepareStart;
const program = fileURLToPath(import.meta.url);

standBack(NICENESS.opening);

// One prop is checked, and seldom: compiled checks would not pay.
z.config({ jitless: true });

async function run(start: ServiceStart): Promise<void> {
  const sink = await makeLogSink(start.logLevel, start.pretty);
  let gateway: MessagePort | undefined;
  const line = new LineOut<FromService>(start.ring, (message, given) =>
    main.postMessage(message, given),
  );
  const { port, ring } = start.changes;
  const changes = new LineOut<ChangeMessage>(ring, (message, given) =>
    port.postMessage(message, given),
  );
  const service = new PropService(start, {
    main: (message, handOver = []) => {
      if (isAnswerToStart(message)) main.postMessage(message, handOver);
      else line.send(message, handOver);
    },
    change: (message, handOver) => changes.send(message, handOver),
    answer: (answer, handOver = []) => gateway?.postMessage(answer, handOver),
    sink,
    planner: new PlannerThread(systemClock),
    clock: systemClock,
    warmUp: true,
    watchSupply: true,
    idle: makeCollector(),
    program,
  });
  const log = ({ level, name, values, text, timeMs }: Extract<ToService, { t: 'log' }>) =>
    sink.log(level, name, values, text, timeMs);
  const opened = service.open();

  main.on('message', async (message: ToService) => {
    if (message.t === 'close') process.exit(0);
    else if (message.t === 'log') log(message);
    else if (message.t === 'entry') {
      const { who, what, tick, values, text } = message.entry;
      if (!message.again)
        sink.log(levelOf(what), 'sinewd', { who, what, tick, ...(values && { values }) }, text);
      await opened;
      service.note(message.entry, message.again);
    } else if (message.t === 'print') sink.print(message.text);
    else {
      await opened;
      if (message.t === 'gateway') connect(message.port);
      else service.receive(message);
    }
  });

  function connect(port: MessagePort): void {
    gateway?.close();
    gateway = port;
    service.gatewayIsNew();
    port.on('message', (message: FromGateway) => {
      if (message.t === 'log') log(message);
      else service.ask(message);
    });
  }

  await opened;
  standBack(NICENESS.service);
}

if ('prepare' in given) void prepare(given, program).then((answer) => main.postMessage(answer));
else void run(given);
