import { once } from 'node:events';
import { type MessagePort, parentPort } from 'node:worker_threads';
import type { GatewayStart } from '../core/requests.ts';
import { NICENESS, standBack } from '../shared/niceness.ts';
import { GatewayLine } from './line.ts';
import { startGateway } from './server.ts';

/**
 * Entry of the gateway's thread. It is loaded while the main thread still reads the prop; what to
 * start with, and the line to the core, come when that is done.
 */
if (!parentPort) throw new Error('the gateway runs as a worker thread of sinewd');

async function run(main: MessagePort): Promise<void> {
  const [{ start, port, ring }] = (await once(main, 'message')) as [
    { start: GatewayStart; port: MessagePort; ring: SharedArrayBuffer },
  ];
  const gateway = await startGateway(start, new GatewayLine(port, ring));
  standBack(NICENESS.gateway);
  await gateway.closed;
  port.close();
}

void run(parentPort);
