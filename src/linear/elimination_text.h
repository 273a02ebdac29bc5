/* The text of elimination.h, for one kind of number (plain_number.h, lane_number.h). No include guard: it is text. */

VECTORS void OF_KIND(elimination, _factor)(const struct sparsity *s, double scale, GIVEN shift, const NUMBER *jacobian,
                                           NUMBER *factors, NUMBER *reciprocals, NUMBER *loss) {
  NUMBER worst = 0.0 * TAKE(shift);
  for (int e = 0; e < s->entry_count; e++) {
    factors[e] = scale * jacobian[e];
  }
  for (int i = 0; i < s->size; i++) {
    NUMBER *diagonal = &factors[s->diagonal[i]];
    reciprocals[i] = LARGER(SIZE(*diagonal), SIZE(TAKE(shift))); /* until the pivot is known */
    *diagonal += TAKE(shift);
  }
  for (int k = 0; k < s->size; k++) {
    const struct sparsity_pivot *pivot = &s->pivots[k];
    NUMBER *own = &reciprocals[s->pivot_unknown[k]];
    NUMBER over = 1.0 / factors[pivot->diagonal];
    NUMBER lost = *own * SIZE(over);
    worst = LARGER(lost, worst);
    *own = over;
    for (int l = pivot->lower_first; l < pivot->lower_end; l++) {
      factors[s->lowers[l]] *= over;
    }
    for (int m = pivot->product_first; m < pivot->product_end; m++) {
      const struct sparsity_product *product = &s->products[m];
      factors[product->target] -= factors[product->left] * factors[product->right];
    }
  }
  *loss = worst;
}

VECTORS void OF_KIND(elimination, _solve)(const struct sparsity *s, const NUMBER *factors, const NUMBER *reciprocals,
                                          NUMBER *x) {
  for (int f = 0; f < s->forward_count; f++) {
    const struct sparsity_term *term = &s->forward[f];
    x[term->target] -= factors[term->entry] * x[term->source];
  }
  for (int m = 0; m < s->size; m++) {
    int p = s->pivot_unknown[s->size - 1 - m];
    NUMBER sum = x[p];
    for (int b = s->backward_first[m]; b < s->backward_first[m + 1]; b++) {
      const struct sparsity_term *term = &s->backward[b];
      sum -= factors[term->entry] * x[term->source];
    }
    x[p] = sum * reciprocals[p];
  }
}
