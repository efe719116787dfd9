import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, beforeEach } from 'vitest';
import { FakeDaemon } from './fake-daemon.ts';

/** What a test of the command works with. */
interface Setting {
  /** A test may put another in its place: that one is stopped at the end. */
  daemon: FakeDaemon;
  readonly folder: string;
  /** The path of a file in the folder. */
  at(name: string): string;
}

/**
 * A daemon that plays its part and an empty folder, for each test, or for all tests of a file. To be called
 * once, at the top.
 */
export function setting(per: 'test' | 'file'): Setting {
  let folder = '';
  const here = {
    get folder() {
      return folder;
    },
    at: (name: string) => join(folder, name),
  } as Setting;
  const [before, after] = per === 'test' ? [beforeEach, afterEach] : [beforeAll, afterAll];
  before(async () => {
    here.daemon = await FakeDaemon.start();
    folder = await mkdtemp(join(tmpdir(), 'sinew-cli-'));
  });
  after(async () => {
    await here.daemon.stop();
    await rm(folder, { recursive: true });
  });
  return here;
}

/** An empty folder for all tests of a file, for verbs that ask no daemon; the path of a file in it. */
export function folderAlone(): (name: string) => string {
  let folder: string;
  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'sinew-cli-'));
  });
  afterAll(() => rm(folder, { recursive: true }));
  return (name) => join(folder, name);
}
