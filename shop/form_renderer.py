"""How forms are drawn: `{{ form }}` and `{{ form.name.as_field_group }}` come out in the look of the product."""

from django.forms.renderers import TemplatesSetting


class ShopRenderer(TemplatesSetting):
    form_template_name = "shop/bits/form.html"
    field_template_name = "shop/bits/field.html"
