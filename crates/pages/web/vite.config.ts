import { basename } from 'node:path';
import { defineConfig } from 'vite';
import { inline } from './inline.ts';

// Each page is built on its own (`vite build listening`): its folder is the root, and the listening page becomes one file.
const page = basename(process.argv.find((word) => word === 'listening' || word === 'desk') ?? 'listening');

export default defineConfig({
  base: './',
  oxc: { jsx: { importSource: 'preact' } },
  build: {
    outDir: `../dist/${page}`,
    emptyOutDir: true,
    target: 'es2022',
    assetsInlineLimit: page === 'listening' ? 1 << 20 : 0,
    modulePreload: false,
    reportCompressedSize: false,
  },
  plugins: page === 'listening' ? [inline()] : [],
});
