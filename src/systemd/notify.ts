import { getSystemErrorName } from 'node:util';
import { Refusal } from '../shared/errors.ts';

/** Tells systemd something, such as `READY=1`; sd_notify(3) lists what it understands. */
export type Notify = (state: string) => void;

const AF_UNIX = 1;
/** SOCK_DGRAM, SOCK_CLOEXEC and SOCK_NONBLOCK as on x86 and ARM (Linux, linux/net.h). */
const DATAGRAMS = 2 | 0o2000000 | 0o4000;
const MSG_NOSIGNAL = 0x4000;

/**
 * Node cannot send to a datagram socket, so that the C library does it, by the protocol that
 * sd_notify(3) describes for programs of their own. The socket never blocks: a systemd that hangs must
 * not hold up a tick.
 * @returns undefined where nobody listens: not started by systemd, or not as Type=notify
 * @throws Refusal when somebody listens and cannot be told: the daemon would be ended for silence
 */
export async function openNotify(env: NodeJS.ProcessEnv): Promise<Notify | undefined> {
  const path = env.NOTIFY_SOCKET;
  if (!path) return undefined;
  try {
    const { default: koffi } = await import('koffi');
    const library = koffi.load(null);
    const socket = library.func('int socket(int domain, int type, int protocol)');
    const connect = library.func('int connect(int fd, const uint8_t *address, uint32_t bytes)');
    const send = library.func('long send(int fd, const uint8_t *data, size_t bytes, int flags)');
    const fd: number = socket(AF_UNIX, DATAGRAMS, 0);
    const address = addressOf(path);
    if (fd < 0 || connect(fd, address, address.length) < 0)
      throw new Error(`${path}: ${getSystemErrorName(-koffi.errno())}`);
    return (state) => {
      const data = Buffer.from(state);
      send(fd, data, data.length, MSG_NOSIGNAL);
    };
  } catch (error) {
    throw new Refusal(
      'systemd.silent',
      `systemd cannot be notified: ${(error as Error).message}; run install.sh of the release again, or npm ci in a clone`,
    );
  }
}

/** A struct sockaddr_un (unix(7)); a path that begins with @ is in the abstract name space. */
function addressOf(path: string): Buffer {
  const family = Buffer.alloc(2);
  family.writeUInt16LE(AF_UNIX);
  const name = path.startsWith('@') ? `\0${path.slice(1)}` : `${path}\0`;
  return Buffer.concat([family, Buffer.from(name)]);
}
