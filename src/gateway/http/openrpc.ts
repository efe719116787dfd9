import type { FastifyPluginAsync } from 'fastify';

/** GET /openrpc.json: the same document as `rpc.discover`. */
export const openrpc: FastifyPluginAsync<{ document: object }> = async (app, { document }) => {
  app.get('/openrpc.json', async () => document);
};
