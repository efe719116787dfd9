import type { FastifyPluginAsync } from 'fastify';
import type { View } from '../state.ts';

interface Options {
  view: View;
  coreStands: () => boolean;
}

/** GET /health: 200 with the condition; 503 when faulted, or when the core stands still. */
export const health: FastifyPluginAsync<Options> = async (app, { view, coreStands }) => {
  app.get('/health', async (_request, reply) => {
    view.refresh();
    const stands = coreStands();
    const { condition, holder } = view;
    reply.code(stands || condition === 'faulted' ? 503 : 200);
    reply.header('cache-control', 'no-store');
    return {
      condition,
      prop: view.start.prop,
      uptimeS: view.tS,
      holder,
      ...(stands && { reason: 'the core stands still: it has shown no tick for over a second' }),
    };
  });
};
