import { parentPort, workerData } from 'node:worker_threads';
import type { GatewayStart } from '../core/requests.ts';
import { startGateway } from './server.ts';

/** Entry of the gateway's thread. */
if (!parentPort) throw new Error('the gateway runs as a worker thread of sinewd');
const gateway = await startGateway(workerData as GatewayStart, parentPort);
await gateway.closed;
parentPort.close();
