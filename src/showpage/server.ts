import fastify, { type FastifyInstance, type FastifyRequest } from 'fastify';
import * as z from 'zod';
import type { ShownProp, ShowPageAct, ShowPageAnswer, ShowPageState } from '../api/show-page.ts';
import { page } from '../gateway/http/page.ts';
import { setUpRoot } from '../gateway/http/root.ts';
import { silent } from '../gateway/log.ts';
import { isLoopback, ownNames } from '../gateway/origin.ts';
import { hashToken, tokenMatches } from '../gateway/token.ts';
import { NAME } from '../prop/name.ts';
import { Bucket } from '../shared/bucket.ts';
import { command, go, rowsOf } from '../show/command.ts';
import type { Conductor } from '../show/conductor.ts';
import { propsOf, type ShowControl } from '../show/show-file.ts';

/** A page that has not asked for so long (ms) no longer has the right to start cues. */
const SILENT_MS = 3000;
/** Requests of all pages: so many a second for ever, so many at once. A stop is never refused for that. */
const PER_S = 100;
const BURST = 300;
const ID = /^[A-Za-z0-9_-]{8,64}$/;

interface ShowPageOptions {
  host: string;
  port: number;
  /** What pages must know; needed where others can reach the address. */
  token: string | undefined;
  control: ShowControl;
  conductor: Conductor;
  /** Why the broker is away; undefined where it is there. */
  brokerProblem: () => string | undefined;
  /** The files of the page. */
  folder: URL;
}

function makeAct() {
  const target = z.string().regex(NAME);
  return z.discriminatedUnion('act', [
    z.strictObject({ act: z.literal('go'), target, cue: z.string().regex(NAME) }),
    z.strictObject({ act: z.enum(['end', 'park', 'lockout']), target }),
    z.strictObject({
      act: z.literal('stop'),
      target,
      category: z.union([z.literal(0), z.literal(1), z.literal(2)]),
    }),
    z.strictObject({ act: z.enum(['take', 'release']) }),
  ]);
}

/**
 * Serves the show's page. Stop, park, end and lockout are taken from every page that is let in; a cue is
 * started only by the one page that has taken control, as with the lease of a prop. Whether a prop moves, it
 * decides itself: it must have been armed there.
 * @returns the server, listening
 * @throws Error where the address is not available, or others can reach it and there is no token
 */
export async function serveShowPage(options: ShowPageOptions): Promise<FastifyInstance> {
  const { host, port, token, conductor, control, folder } = options;
  if (token === undefined && !isLoopback(host))
    throw new Error('an address that others can reach needs a token; give --page-token FILE');
  const hash = token === undefined ? undefined : hashToken(token);
  const act = makeAct();
  const holder = new Holder();
  const bucket = new Bucket(PER_S, BURST, performance.now());
  const app = fastify({ bodyLimit: 4096, requestTimeout: 5000, forceCloseConnections: true });
  app.server.maxConnections = 64;
  setUpRoot(app, ownNames(host), silent, 'there is nothing here; the page of the show is at /');
  app.register(page, { folder });

  /** The id of the page that asks; undefined where it is not let in. */
  const letIn = (request: FastifyRequest): string | undefined => {
    const given = /^Bearer (.{1,500})$/.exec(request.headers.authorization ?? '')?.[1] ?? '';
    if (hash && !tokenMatches(given, hash)) return undefined;
    const id = String(request.headers['x-page'] ?? '');
    return ID.test(id) ? id : undefined;
  };
  const refuse = {
    error: 'the token is missing or wrong; open the address that sinew show serve prints',
  };

  app.get('/state', async (request, reply): Promise<ShowPageState | { error: string }> => {
    const id = letIn(request);
    if (id === undefined) return reply.code(401).send(refuse);
    if (!bucket.take(1, performance.now())) return reply.code(429).send({ error: 'too many' });
    holder.heard(id);
    return {
      show: control.name,
      broker: options.brokerProblem() ?? null,
      props: rowsOf(control, conductor).map(shown),
      groups: Object.keys(control.groups),
      control: holder.is(id),
      holder: holder.name(id),
    };
  });

  app.post('/act', async (request, reply): Promise<ShowPageAnswer | { error: string }> => {
    const id = letIn(request);
    if (id === undefined) return reply.code(401).send(refuse);
    const parsed = act.safeParse(request.body);
    if (!parsed.success)
      return reply.code(400).send({ error: 'it asks for nothing that there is' });
    const asked: ShowPageAct = parsed.data;
    if (asked.act !== 'stop' && !bucket.take(1, performance.now()))
      return reply.code(429).send({ error: 'too many' });
    if (!('target' in asked)) return asked.act === 'take' ? holder.take(id) : holder.release(id);
    const props = propsOf(control, asked.target);
    if (props.length === 0) return no(`the show has no prop or group ${asked.target}`);
    if (asked.act !== 'go') {
      const { act: what, target } = asked;
      const wish = what === 'stop' ? { act: what, category: asked.category } : { act: what };
      return command(conductor, wish, props, target === 'all');
    }
    if (!holder.is(id)) return no('take control first: one page alone starts cues');
    return go(conductor, control, props, asked.cue);
  });

  await app.listen({ host, port });
  return app;
}

function no(line: string): ShowPageAnswer {
  return { ok: false, lines: [line] };
}

function shown({ prop, status, problems }: ReturnType<typeof rowsOf>[number]): ShownProp {
  return {
    prop,
    name: status?.name ?? '',
    here: status !== undefined,
    condition: status?.condition ?? '',
    armed: status?.armed ?? false,
    lockout: status?.lockout ?? false,
    runs: status?.runs ?? [],
    cues: status?.cues ?? [],
    problems: problems.filter((one) => one !== 'not armed'),
  };
}

/** The right to start cues: one page has it, as long as it is heard. */
class Holder {
  #id: string | undefined;
  #heardMs = 0;

  is(id: string): boolean {
    return this.#id === id && !this.isFree;
  }

  heard(id: string): void {
    if (this.is(id)) this.#heardMs = performance.now();
  }

  /** Who else has it, in words. */
  name(id: string): string | null {
    return this.isFree || this.#id === id ? null : 'another page';
  }

  get isFree(): boolean {
    return this.#id === undefined || performance.now() - this.#heardMs > SILENT_MS;
  }

  take(id: string): ShowPageAnswer {
    if (!this.isFree && this.#id !== id)
      return no('another page has control; give it back there, or close it');
    this.#id = id;
    this.#heardMs = performance.now();
    return { ok: true, lines: [] };
  }

  release(id: string): ShowPageAnswer {
    if (this.#id === id) this.#id = undefined;
    return { ok: true, lines: [] };
  }
}
