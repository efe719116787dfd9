import { expect, it } from 'vitest';
import { openNotify } from '../../src/systemd/notify.ts';
import { NotifySocket } from './socket.ts';

it('a systemd that reads nothing holds nobody up', async () => {
  const socket = new NotifySocket();
  const notify = (await openNotify({ NOTIFY_SOCKET: socket.path }))!;
  notify('READY=1');
  // Far more than a queue of datagrams holds (net.unix.max_dgram_qlen, unix(7)): a socket that blocks
  // would never come back from here, as nobody reads while this thread is busy.
  for (let i = 0; i < 5000; i++) notify('WATCHDOG=1');
  while (socket.count('READY=1') === 0) await new Promise((resolve) => setTimeout(resolve, 5));
  expect(socket.received.length).toBeLessThan(5001);
  socket.close();
});

it('nobody is told where nobody listens; a listener that is gone is an error', async () => {
  expect(await openNotify({})).toBeUndefined();
  await expect(openNotify({ NOTIFY_SOCKET: '/nowhere/notify' })).rejects.toThrow(
    /\/nowhere\/notify: ENOENT.*npm ci/,
  );
});
