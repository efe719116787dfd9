// Preloaded into a process: `pigpio` is then the package built for the stand-in (PIGPIO_PACKAGE).
const Module = require('node:module');

const resolve = Module._resolveFilename;
Module._resolveFilename = (request, ...rest) =>
  resolve(request === 'pigpio' ? process.env.PIGPIO_PACKAGE : request, ...rest);
