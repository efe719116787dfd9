#!/usr/bin/env node
import { loadGateway } from './gateway/load.ts';

// Before anything else: the gateway's thread takes as long to load as a prop file does.
const gatewayThread = loadGateway();
const { sinewd } = await import('./sinewd.ts');
await sinewd(gatewayThread);
