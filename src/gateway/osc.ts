import { Server } from 'node-osc';
import type { Logger } from 'pino';
import type { Clock } from '../shared/clock.ts';
import { Bucket } from './bucket.ts';
import { OSC_BURST, OSC_PER_S } from './limits.ts';

/**
 * Listens for OSC 1.0 messages over UDP (opensoundcontrol.org, OSC 1.0 specification) and passes
 * their addresses on, no faster than a trigger can use them. Resolves with a way to close.
 * @throws Error when the port cannot be had
 */
export function listenOsc(
  { host, port }: { host: string; port: number },
  clock: Clock,
  log: Logger,
  onAddress: (address: string) => void,
): Promise<() => void> {
  const bucket = new Bucket(OSC_PER_S, OSC_BURST, clock.nowMs());
  return new Promise((resolve, reject) => {
    const server = new Server(port, host);
    server.on('listening', () => resolve(() => void server.close()));
    server.on('message', ([address]) => {
      if (bucket.take(1, clock.nowMs())) onAddress(String(address).slice(0, 200));
    });
    server.on('error', (error) => {
      log.warn({ err: error }, 'an OSC message could not be read');
      reject(new Error(`OSC on ${host}:${port}: ${error.message}`));
    });
  });
}
