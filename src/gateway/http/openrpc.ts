import type { FastifyPluginAsync } from 'fastify';
import { openRpcDocument } from '../../api/openrpc.ts';

/** GET /openrpc.json: the same document as `rpc.discover`. */
export const openrpc: FastifyPluginAsync = async (app) => {
  app.get('/openrpc.json', async () => openRpcDocument());
};
