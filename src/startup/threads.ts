import { loadGateway } from '../gateway/load.ts';
import { type ServiceEvents, ServiceHost } from '../service/host.ts';
import type { Options } from './options.ts';
import type { Threads } from './sinewd.ts';

/** Starts the threads beside the core: the service opens the prop file, the gateway waits. */
export function startThreads({ prop, create, stateDir, logLevel }: Options): Threads {
  const nobody: ServiceEvents = { file() {}, journal() {}, kept() {}, died() {}, restarted() {} };
  let events = nobody;
  const service = new ServiceHost(
    {
      ...{ file: prop, create, stateDir, logLevel },
      planDir: process.env.RUNTIME_DIRECTORY || undefined,
      pretty: process.stderr.isTTY === true,
    },
    {
      file: (status) => events.file(status),
      journal: (...args) => events.journal(...args),
      kept: (seq) => events.kept(seq),
      died: (...args) => events.died(...args),
      restarted: () => events.restarted(),
    },
  );
  const opened = service.open();
  // Waited for later; until then a refusal is nobody's.
  opened.catch(() => {});
  return {
    service,
    opened,
    gateway: loadGateway(),
    listen: (given) => {
      events = given;
    },
  };
}
