// What the review page's scripts must keep to, beside being tested: the linter's own recommendations, and
// those of its rules that have caught somebody here or stand for a line of the page's content policy.
import js from "@eslint/js";
import globals from "globals";

const strict = {
  eqeqeq: "error",
  "no-eval": "error",
  "no-implied-eval": "error",
  "no-new-func": "error",
  "no-script-url": "error",
  "no-var": "error",
  "prefer-const": "error",
  "no-shadow": "error",
  "no-use-before-define": ["error", { functions: false, variables: false }],
  "no-param-reassign": "error",
  "no-unused-expressions": ["error", { allowShortCircuit: true, allowTernary: true }],
  "no-self-compare": "error",
  "no-promise-executor-return": "error",
  "no-template-curly-in-string": "error",
  "no-unreachable-loop": "error",
  "array-callback-return": "error",
  "object-shorthand": "error",
  "max-lines-per-function": ["error", { max: 130, skipComments: true }],
};

export default [
  js.configs.recommended,
  {
    linterOptions: { reportUnusedDisableDirectives: "error" },
    languageOptions: { ecmaVersion: 2024, sourceType: "module" },
    rules: strict,
  },
  { files: ["evidence/review/static/*.js"], languageOptions: { globals: globals.browser } },
  { files: ["tests/review/js/*.mjs"], languageOptions: { globals: globals.node } },
];
