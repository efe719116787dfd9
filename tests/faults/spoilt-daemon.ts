import './spoil-core.ts';
import '../../src/daemon.ts';
