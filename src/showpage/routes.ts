import type { FastifyPluginAsync, FastifyReply, FastifyRequest } from 'fastify';
import * as z from 'zod';
import type { ShowPageAct, ShowPageAnswer } from '../api/show-page.ts';
import { NAME } from '../prop/name.ts';
import { lazily } from '../shared/lazily.ts';
import { PageRefusal, type ShowDesk } from './desk.ts';

/** Longer than anything that a page asks for takes: a go is known only after its time (ms). */
const LONGEST_ACT_MS = 90_000;
const ID = /^[A-Za-z0-9_-]{8,64}$/;

interface Options {
  desk: ShowDesk;
  /** Whether whoever shows this token may ask; an empty one is none. */
  letIn(token: string): boolean | Promise<boolean>;
  /** What somebody is told who is not let in. */
  shut: string;
}

type Answer<T> = Promise<T | { error: string } | undefined>;

const act = lazily(() => {
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
});

/** GET state and POST act, for the page of a show: what it shows, and what it asks for. */
export const showRoutes: FastifyPluginAsync<Options> = async (app, { desk, letIn, shut }) => {
  /** Pages that still read what they asked for. */
  const reading = new Set<string>();

  /** The id of the page that asks; undefined where it is not let in. */
  const pageOf = async ({ headers }: FastifyRequest): Promise<string | undefined> => {
    const token = /^Bearer (.{1,500})$/.exec(headers.authorization ?? '')?.[1] ?? '';
    if (!(await letIn(token))) return undefined;
    // Only a script of this page sends it: no other page's form or picture does.
    const id = String(headers['x-page'] ?? '');
    return ID.test(id) ? id : undefined;
  };
  const refuse = (reply: FastifyReply, error: unknown) => {
    if (!(error instanceof PageRefusal)) throw error;
    reply.code(error.status);
    return { error: error.message };
  };

  app.addHook('onRequest', async (_request, reply) => {
    reply.header('cache-control', 'no-store');
  });

  app.get('/state', async (request, reply): Answer<string> => {
    const id = await pageOf(request);
    if (id === undefined) return reply.code(401).send({ error: shut });
    try {
      if (reading.has(id)) throw new PageRefusal(429, 'the answer before is still on its way');
      reading.add(id);
      reply.raw.once('close', () => reading.delete(id));
      const text = await desk.state(id);
      return reply.type('application/json; charset=utf-8').send(text);
    } catch (error) {
      return refuse(reply, error);
    }
  });

  app.post('/act', async (request, reply): Answer<ShowPageAnswer> => {
    const id = await pageOf(request);
    if (id === undefined) return reply.code(401).send({ error: shut });
    const parsed = act().safeParse(request.body);
    if (!parsed.success)
      return reply.code(400).send({ error: 'it asks for nothing that there is' });
    const asked: ShowPageAct = parsed.data;
    request.raw.setTimeout(LONGEST_ACT_MS);
    try {
      return await desk.act(id, asked);
    } catch (error) {
      return refuse(reply, error);
    }
  });
};
