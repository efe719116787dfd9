import type { FastifyPluginAsync } from 'fastify';
import type { Notices } from '../notices.ts';
import type { View } from '../state.ts';

interface Options {
  view: View;
  notices: Notices;
  coreStands: () => boolean;
}

/**
 * GET /health: 200 with the condition; 503 when faulted, or when the core stands still. A prop file
 * that is not in use is reported, but is not a reason for 503: the prop uses the version before it.
 */
export const health: FastifyPluginAsync<Options> = async (app, { view, notices, coreStands }) => {
  app.get('/health', async (_request, reply) => {
    view.refresh();
    const stands = coreStands();
    const { condition, holder } = view;
    const news = notices.news();
    const file = news && {
      pending: news.pending === true,
      // What is wrong in the file, and where it lies, is for those who may open a session.
      ...(news.problem !== undefined && { problem: 'not in use; sinew status says why' }),
    };
    reply.code(stands || condition === 'faulted' ? 503 : 200);
    reply.header('cache-control', 'no-store');
    return {
      condition,
      // Why not is for those who may open a session.
      ...(view.notParked !== undefined && { notParked: true }),
      prop: view.prop.name,
      uptimeS: view.tS,
      holder,
      ...(file && { file }),
      ...(stands && { reason: 'the core stands still: it has shown no tick for over a second' }),
    };
  });
};
