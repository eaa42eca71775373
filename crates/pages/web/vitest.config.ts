import { defineConfig } from 'vitest/config';

export default defineConfig({
  oxc: { jsx: { importSource: 'preact' } },
  test: { include: ['*/**/*.test.{ts,tsx}'], exclude: ['node_modules', 'dist', 'e2e'] },
});
