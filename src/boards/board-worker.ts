import { parentPort, workerData } from 'node:worker_threads';
import { type I2cCall, I2cServer } from './i2c-server.ts';
import { loadIoctl } from './linux/gpio.ts';
import { LinuxPins } from './linux/pins.ts';
import { type PinsCall, PinsServer } from './linux/pins-server.ts';
import type { ThreadWork } from './thread.ts';

/** Entry point of the threads in which drivers make calls that may hang. */
if (!parentPort) throw new Error('this runs as a worker thread of the drivers');
const port = parentPort;

const work = workerData as ThreadWork;
if (work.kind === 'i2c') {
  const server = new I2cServer(work.bus);
  port.on('message', (call: I2cCall) => port.postMessage(server.answer(call)));
} else {
  const { ioctlLibrary, ...places } = work.places ?? {};
  const around = ioctlLibrary ? { ...places, ioctl: () => loadIoctl(ioctlLibrary) } : places;
  const server = new PinsServer((board) => new LinuxPins(board, around));
  port.on('message', (call: PinsCall) => {
    void server.serve(call, (reply) => port.postMessage(reply));
  });
}
