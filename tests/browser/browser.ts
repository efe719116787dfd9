/// <reference lib="dom" />
import { spawn } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { type AddressInfo, connect, createServer, type Server, type Socket } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import {
  type Browser,
  type BrowserContext,
  type BrowserContextOptions,
  chromium,
  type Page,
} from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, expect, onTestFinished } from 'vitest';
import { Daemon } from '../system/daemon.ts';
import { ARGS, findChromium, launch } from './chromium.ts';

export { launch } from './chromium.ts';

export const VIEWS = ['overview', 'show', 'bench', 'wiring'] as const;
/** What shows that a view has its data. */
const FILLED = {
  overview: '.channels',
  show: '.show-cue',
  bench: '.pad',
  wiring: 'table.wires tbody tr',
};
export const PHONE = { width: 360, height: 740 };
export const LAPTOP = { width: 1440, height: 900 };

/** `axe-core` holds up the page's script: a link may be silent for as long as that (ms). */
export const AXE_MS = 20_000;

/**
 * A browser for all tests of a file, and a daemon for each of them, on the owl unless said otherwise. To be
 * called once, at the top.
 */
export function browserAndDaemons(start = () => Daemon.start()): {
  readonly browser: Browser;
  readonly daemon: Daemon;
} {
  const on = {} as { browser: Browser; daemon: Daemon };
  beforeAll(async () => {
    on.browser = await launch();
  });
  afterAll(() => on.browser?.close());
  beforeEach(async () => {
    on.daemon = await start();
  });
  afterEach(() => on.daemon.cleanUp());
  return on;
}

/**
 * Headless Chromium without the browser driver's own ideas: a page behind another is really hidden
 * and really loses the focus. It lasts for one test.
 */
export async function launchPlain(): Promise<Browser> {
  const profile = await mkdtemp(join(tmpdir(), 'sinew-chromium-'));
  const child = spawn(
    findChromium()!,
    [
      '--headless',
      '--remote-debugging-port=0',
      `--user-data-dir=${profile}`,
      `--window-size=${LAPTOP.width},${LAPTOP.height}`,
      ...ARGS,
      'about:blank',
    ],
    { stdio: ['ignore', 'ignore', 'pipe'] },
  );
  const ended = new Promise((resolve) => child.once('exit', resolve));
  onTestFinished(async () => {
    child.kill();
    await ended;
    await rm(profile, { recursive: true, force: true, maxRetries: 5 });
  });
  const endpoint = await new Promise<string>((resolve, reject) => {
    let text = '';
    child.stderr.on('data', (data) => {
      text += data;
      const found = /DevTools listening on (ws:\S+)/.exec(text)?.[1];
      if (found) resolve(found);
    });
    child.once('exit', (code) => reject(new Error(`Chromium ended with ${code}: ${text}`)));
  });
  return chromium.connectOverCDP(endpoint, { noDefaults: true });
}

/** What Chromium writes by itself when a link is cut: expected in the tests that cut it. */
const LINK_NOISE = /WebSocket connection to .* failed/;

/** The bench page in a browser window of its own, and everything that it did wrong. */
export class Operator {
  readonly page: Page;
  readonly faults: string[] = [];
  linkMayBreak = false;

  private constructor(page: Page, origin: string) {
    this.page = page;
    page.on('pageerror', (error) => this.faults.push(`uncaught: ${error}`));
    // Breaches of the content security policy are among these.
    page.on('console', (message) => {
      if (message.type() !== 'error' && message.type() !== 'warning') return;
      this.faults.push(`console: ${message.text()}`);
    });
    const note = (url: string) => {
      if (new URL(url).host !== new URL(origin).host) this.faults.push(`asked elsewhere: ${url}`);
    };
    page.on('request', (request) => note(request.url()));
    page.on('websocket', (socket) => note(socket.url()));
  }

  /** @param at the daemon, or the address of something that leads to it */
  static async open(
    browser: Browser,
    at: Daemon | string,
    {
      view = '',
      open = true,
      scripts = [],
      context: existing,
      ...options
    }: BrowserContextOptions & {
      /** The fragment of the address. */
      view?: string;
      /** Where to open it, instead of in a window of its own. */
      context?: BrowserContext;
      /** Wait for the link; false where a token is asked for first. */
      open?: boolean;
      /** Run in the page before its own. */
      scripts?: string[];
    } = {},
  ): Promise<Operator> {
    const context = existing ?? (await browser.newContext({ viewport: LAPTOP, ...options }));
    context.setDefaultTimeout(10_000);
    for (const content of scripts) await context.addInitScript({ content });
    const url = typeof at === 'string' ? at : at.url;
    const operator = new Operator(await context.newPage(), url);
    await operator.page.goto(`${url}${view && `#${view}`}`);
    if (open) await operator.linked();
    return operator;
  }

  /** Resolves once the link stands and the name of the prop is known. */
  async linked(): Promise<void> {
    await this.page.locator('.app:not(.cut) header h1:not(:text-is("Sinew"))').waitFor();
  }

  button(name: string | RegExp) {
    return this.page.getByRole('button', {
      name,
      ...(typeof name === 'string' && { exact: true }),
    });
  }

  /** Resolves once the header tells this condition. */
  async condition(word: string): Promise<void> {
    await this.page.locator(`.condition.is-${word}`, { hasText: word }).waitFor();
  }

  async view(name: (typeof VIEWS)[number]): Promise<void> {
    await this.page.locator(`nav a[href="#${name}"]`).click();
    await this.page.locator(`nav a[href="#${name}"][aria-current="page"]`).waitFor();
    await this.page.locator(FILLED[name]).first().waitFor();
  }

  async takeControl(): Promise<void> {
    await this.button('Take control').click();
    await this.button('Hand over').waitFor();
  }

  /** Takes control and wakes the prop. */
  async wake(): Promise<void> {
    await this.takeControl();
    await this.button('Wake').click();
    const question = this.page.getByRole('alertdialog');
    const live = this.condition('live');
    await Promise.race([question.waitFor().catch(() => {}), live]);
    if (await question.isVisible()) await this.button('Hands are clear: wake').click();
    await live;
  }

  /** Closes the page; fails when it did anything wrong. */
  async close(): Promise<void> {
    await this.page.close();
    const faults = this.linkMayBreak
      ? this.faults.filter((fault) => !LINK_NOISE.test(fault))
      : this.faults;
    expect(faults).toEqual([]);
  }
}

/** A cable between page and daemon that can be pulled: then neither end hears anything at all. */
export class Cable {
  readonly url: string;
  readonly #server: Server;
  readonly #sockets = new Set<Socket>();
  #pulled = false;

  private constructor(server: Server, daemon: Daemon) {
    this.url = `http://127.0.0.1:${(server.address() as AddressInfo).port}/`;
    this.#server = server;
    server.on('connection', (near) => {
      const far = connect(daemon.port, '127.0.0.1');
      this.#lead(near, far);
      this.#lead(far, near);
    });
  }

  static async to(daemon: Daemon): Promise<Cable> {
    const server = createServer();
    await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
    const cable = new Cable(server, daemon);
    onTestFinished(() => cable.#end());
    return cable;
  }

  #lead(from: Socket, to: Socket): void {
    this.#sockets.add(from);
    from.on('data', (data) => to.write(data));
    from.on('error', () => {});
    from.on('close', () => {
      this.#sockets.delete(from);
      to.destroy();
    });
    if (this.#pulled) from.pause();
  }

  /** No end of a connection, no reset: silence both ways, for new connections as well. */
  pull(): void {
    this.#pulled = true;
    for (const socket of this.#sockets) socket.pause();
  }

  /** Holds everything back for a while; nothing is lost. */
  async hesitate(forMs: number): Promise<void> {
    for (const socket of this.#sockets) socket.pause();
    await new Promise((resolve) => setTimeout(resolve, forMs));
    for (const socket of this.#sockets) socket.resume();
  }

  /** For new connections: those of before stay dead, as after a change of the network. */
  plug(): void {
    this.#pulled = false;
  }

  #end(): void {
    for (const socket of this.#sockets) socket.destroy();
    this.#server.close();
  }
}
