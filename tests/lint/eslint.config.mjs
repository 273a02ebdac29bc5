// What the linter asks of the page's scripts and of the browser tests. The page's scripts are no modules: they stand on
// one page one after the other, so what one declares the others of the same page see.
import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import js from '@eslint/js';
import * as espree from 'espree';

const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const pages = { run: ['shared', 'run'], sweep: ['shared', 'sweep'], review: ['shared', 'run', 'review'] };
const newest = { ecmaVersion: 2022, sourceType: 'script' };

// What browsers give, as far as it is used, and the charting library.
const browser = ['addEventListener', 'atob', 'Blob', 'CSS', 'cancelAnimationFrame', 'clearTimeout', 'console', 'devicePixelRatio',
  'document', 'Element', 'Event', 'getComputedStyle', 'dispatchEvent', 'history', 'Image', 'IntersectionObserver', 'innerHeight', 'innerWidth', 'KeyboardEvent', 'location',
  'localStorage', 'matchMedia', 'navigator', 'Node', 'performance', 'print', 'queueMicrotask', 'requestAnimationFrame',
  'ResizeObserver', 'Response', 'scrollBy', 'scrollX', 'scrollY', 'setTimeout', 'TextDecoder', 'URL', 'window'];
const node = ['Buffer', 'clearTimeout', 'console', 'process', 'setTimeout', 'URL'];

function globalsOf(names) {
  return Object.fromEntries(names.map((name) => [name, 'readonly']));
}

function declaredIn(text) {
  const names = [];
  for (const statement of espree.parse(text, newest).body) {
    if (statement.type === 'FunctionDeclaration' || statement.type === 'ClassDeclaration') names.push(statement.id.name);
    for (const declaration of statement.type === 'VariableDeclaration' ? statement.declarations : []) {
      if (declaration.id.type === 'Identifier') names.push(declaration.id.name);
      else for (const property of declaration.id.properties) names.push(property.value.name);
    }
  }
  return names;
}

const scripts = [];
for (const folder of ['shared', 'run', 'sweep', 'review']) {
  for (const name of readdirSync(join(root, 'src/report/page', folder)).filter((each) => each.endsWith('.js'))) {
    const path = `src/report/page/${folder}/${name}`;
    const text = readFileSync(join(root, path), 'utf8');
    scripts.push({ path, folder, text, declared: declaredIn(text), words: new Set(text.match(/[\w$]+/g)) });
  }
}

function pageScript(script) {
  const others = scripts.filter((other) => other !== script &&
    Object.values(pages).some((folders) => folders.includes(script.folder) && folders.includes(other.folder)));
  // A name of its own that another script uses is used.
  const usedElsewhere = script.declared.filter((name) => others.some((other) => other.words.has(name)));
  return {
    files: [script.path],
    languageOptions: { ...newest, globals: globalsOf([...browser, 'uPlot', ...others.flatMap((other) => other.declared)]) },
    rules: {
      'no-unused-vars': ['error', { varsIgnorePattern: usedElsewhere.length ? `^(${usedElsewhere.join('|')})$` : undefined }],
    },
  };
}

export default [
  js.configs.recommended,
  {
    linterOptions: { reportUnusedDisableDirectives: 'error' },
    rules: {
      'default-case-last': 'error',
      eqeqeq: 'error',
      'no-implicit-globals': 'off', // what a script declares is meant for the others of its page
      'no-redeclare': ['error', { builtinGlobals: false }],
      'no-self-compare': 'error',
      'no-shadow': 'error',
      'no-throw-literal': 'error',
      'no-unused-expressions': 'error',
      'no-use-before-define': ['error', { functions: false, variables: false }],
      'no-var': 'error',
      'prefer-const': 'error',
    },
  },
  ...scripts.map(pageScript),
  {
    files: ['tests/**/*.mjs'],
    // Parts of the browser tests run inside the page: they see what its scripts declare.
    languageOptions: {
      ecmaVersion: 2022,
      sourceType: 'module',
      globals: globalsOf([...node, ...browser, ...scripts.flatMap((script) => script.declared)]),
    },
    // There a name of the test's own may be called as one of the page.
    rules: { 'no-shadow': ['error', { builtinGlobals: false }] },
  },
];
